// Asking the bench program, and what it answers.

/** A refusal in one sentence, or that nobody answers. */
export class Refused extends Error {
  constructor(text, code, status, whole) {
    super(text);
    this.code = code;
    this.status = status;
    this.whole = whole;
  }
}

const SILENT = "The bench program does not answer. Nothing is lost: try again in a moment.";

async function ask(method, path, body) {
  const headers = { "X-Jawline": "1", Accept: "application/json" };
  if (body && !(body instanceof FormData)) {
    headers["Content-Type"] = "application/json";
    body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(path, { method, headers, body, credentials: "same-origin" });
  } catch {
    throw new Refused(SILENT, "silent", 0, null);
  }
  const plain = await answer.json().catch(() => null);
  if (answer.ok) return plain;
  const error = plain?.error ?? {};
  throw new Refused(error.text ?? `The bench program answered with ${answer.status}.`, error.code ?? "", answer.status, plain);
}

export const get = (path) => ask("GET", path);
export const post = (path, body = {}) => ask("POST", path, body);
export const remove = (path) => ask("DELETE", path);

/** Whether a job's photo is being looked at, or waits to be. */
export const busy = (job) => job.state === "tracing" || job.state === "waiting";

/**
 * Do something that the bench program may refuse.
 * @template T
 * @param {() => Promise<T>} work
 * @param {(text: string) => void} say is given the refusal's sentence
 * @returns {Promise<T | null>} null where it was refused
 */
export async function attempt(work, say) {
  try {
    return await work();
  } catch (why) {
    if (!(why instanceof Refused)) throw why;
    say(why.message);
    return null;
  }
}
