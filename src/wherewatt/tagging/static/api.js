// Talking to the server: one request at a time, in order.

/** An answer that is no success: its status and the lines that say what is wrong. */
export class Refusal extends Error {
  constructor(status, problems) {
    super(problems.join(" "));
    this.status = status;
    this.problems = problems;
  }
}

const GONE = "The server does not answer. What you tagged is still in this page; "
  + "it can be saved as long as wherewatt tag runs.";

let last = Promise.resolve();

function inOrder(task) {
  const next = last.then(task, task);
  last = next.catch(() => {});
  return next;
}

async function ask(method, path, document, seen) {
  const headers = {};
  if (document !== undefined) headers["Content-Type"] = "application/json";
  if (seen !== undefined) headers["If-Match"] = `"${seen}"`;
  let answer;
  try {
    answer = await fetch(path, {
      method,
      headers,
      body: document === undefined ? undefined : JSON.stringify(document),
      cache: "no-store",
    });
  } catch {
    throw new Refusal(0, [GONE]);
  }
  const isJson = (answer.headers.get("content-type") ?? "").startsWith("application/json");
  const content = isJson ? await answer.json() : { problems: [await answer.text()] };
  if (!answer.ok) throw new Refusal(answer.status, content.problems ?? []);
  return content;
}

export const get = (path) => inOrder(() => ask("GET", path));
export const post = (path, document, seen) => inOrder(() => ask("POST", path, document, seen));
export const put = (path, document, seen) => inOrder(() => ask("PUT", path, document, seen));
