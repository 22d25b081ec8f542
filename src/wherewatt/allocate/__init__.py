"""Where the energy went: loads, call-outs and priors in one estimate."""
