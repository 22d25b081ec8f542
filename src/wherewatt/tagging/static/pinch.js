// Two fingers on the profile: what lies under each of them stays there.

const LEAST_APART_PX = 24; // nearer, a tremble would be a leap

export class Pinch {
  /**
   * @param host element that stays while what is drawn in it changes
   * @param profile what is zoomed
   */
  constructor(host, profile) {
    this.host = host;
    this.profile = profile;
    this.fingers = new Map(); // x of each on the screen
    this.anchors = null; // distance that lay under each when the second came
    const hear = (name, task) => host.addEventListener(name, task, { capture: true });
    hear("pointerdown", (event) => this.#down(event));
    hear("pointermove", (event) => this.#move(event));
    for (const name of ["pointerup", "pointercancel"]) hear(name, (event) => this.#lift(event));
  }

  #down(event) {
    if (event.pointerType !== "touch") return;
    if (event.isPrimary) this.fingers.clear(); // should the end of one have been missed
    this.fingers.set(event.pointerId, event.clientX);
    if (this.fingers.size < 2) return;
    event.stopPropagation();
    if (this.fingers.size > 2 || !this.profile.letGo()) return;
    // What is drawn is made anew on the way; a finger is held by what stays.
    for (const finger of this.fingers.keys()) this.host.setPointerCapture(finger);
    this.anchors = new Map([...this.fingers].map(([finger, x]) => [finger, this.profile.metresAt(x)]));
  }

  #move(event) {
    if (!this.fingers.has(event.pointerId)) return;
    this.fingers.set(event.pointerId, event.clientX);
    if (!this.anchors) return;
    event.stopPropagation();
    const [one, other] = [...this.anchors].map(([finger, metres]) => ({ metres, x: this.fingers.get(finger) }))
      .sort((a, b) => a.metres - b.metres);
    const apart = Math.max(LEAST_APART_PX, other.x - one.x);
    this.profile.fit((one.metres + other.metres) / 2, (one.x + other.x) / 2, (other.metres - one.metres) / apart);
  }

  #lift(event) {
    if (this.anchors) event.stopPropagation();
    this.fingers.delete(event.pointerId);
    if (this.anchors?.has(event.pointerId)) this.anchors = null;
  }
}
