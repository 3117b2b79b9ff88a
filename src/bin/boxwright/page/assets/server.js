// @ts-check
// Questions to the program behind the page, and its refusals.

let token = "";

/** @param {string} given */
export function useToken(given) {
  token = given;
}

/** What the program refused, and what to do about it. */
export class Refusal extends Error {
  /** @param {number} status @param {string} says @param {string} advice */
  constructor(status, says, advice) {
    super(says);
    this.status = status;
    this.advice = advice;
  }
}

const GONE = new Refusal(
  0,
  "the program does not answer",
  "start `boxwright page` again and open the address that it prints",
);

/**
 * @param {string} path
 * @param {RequestInit} [how]
 * @returns {Promise<Response>}
 */
export async function call(path, how = {}) {
  const headers = { ...how.headers, Authorization: `Bearer ${token}` };
  const answer = await fetch(path, { ...how, headers, cache: "no-store" }).catch((why) => {
    throw why.name === "AbortError" ? why : GONE;
  });
  if (answer.ok) return answer;
  const told = await answer.json().catch(() => ({}));
  const says = told.error?.says ?? `the program answered with status ${answer.status}`;
  throw new Refusal(answer.status, says, told.error?.advice ?? "");
}

/** @param {string} path @param {Record<string, string>} [query] @returns {Promise<any>} */
export async function ask(path, query = {}) {
  const tail = new URLSearchParams(query).toString();
  return (await call(tail ? `${path}?${tail}` : path)).json();
}

/** @param {string} path @param {any} body @param {AbortSignal} [until] @returns {Promise<any>} */
export async function send(path, body, until) {
  const headers = { "Content-Type": "application/json" };
  return (await call(path, { method: "POST", headers, body: JSON.stringify(body), signal: until })).json();
}
