// Asking the bench program, and what it answers.
import { t } from "./words.js";

/** A refusal in one sentence, or that nobody answers. */
export class Refused extends Error {
  /**
   * @param {string} text
   * @param {string} code
   * @param {any} whole what was answered
   */
  constructor(text, code, whole = null) {
    super(text);
    this.code = code;
    this.whole = whole;
  }
}

const SILENT = t("The bench program does not answer. Nothing is lost: try again in a moment.");

/**
 * @param {"GET" | "POST" | "DELETE"} method
 * @param {string} path
 * @param {FormData | object} [body] a form, or plain values
 * @returns {Promise<any>} what was answered
 * @throws {Refused}
 */
async function ask(method, path, body) {
  /** @type {Record<string, string>} */
  const headers = { "X-Jawline": "1", Accept: "application/json" };
  const form = body instanceof FormData;
  if (body && !form) headers["Content-Type"] = "application/json";
  const sent = form ? body : body && JSON.stringify(body);
  let answer;
  try {
    answer = await fetch(path, { method, headers, body: sent, credentials: "same-origin" });
  } catch {
    throw new Refused(SILENT, "silent");
  }
  const plain = await answer.json().catch(() => null);
  if (answer.ok) return plain;
  const error = plain?.error ?? {};
  throw new Refused(
    error.text ?? t("The bench program answered with {status}.", { status: answer.status }),
    error.code ?? "",
    plain,
  );
}

/** @param {string} path */
export const get = (path) => ask("GET", path);
/**
 * @param {string} path
 * @param {FormData | object} body
 */
export const post = (path, body) => ask("POST", path, body);
/** @param {string} path */
export const remove = (path) => ask("DELETE", path);

/**
 * Whether a job's photo is being looked at. One that waits, waits for somebody who says how thick the part is.
 * @param {{ state: string }} job
 */
export const busy = (job) => job.state === "tracing";

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
