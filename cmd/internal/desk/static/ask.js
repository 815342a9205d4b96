// Asking the desk. The key of the run stands behind the # of the address; it is
// kept for this tab alone, and sent with everything that is asked.

const hash = location.hash.slice(1);
if (hash) {
  sessionStorage.setItem("key", hash);
  history.replaceState(null, "", location.pathname);
}

export const keyHeader = "Boltrose-Key";
export const key = () => sessionStorage.getItem("key") || "";
export const setKey = (k) => sessionStorage.setItem("key", k);

// Refused is what the desk will not do, in words for a person.
export class Refused extends Error {
  constructor(text, status) {
    super(text);
    this.status = status;
  }
}

// ask returns the answer; one that is no JSON as it is.
export async function ask(method, path, body, signal) {
  const headers = { [keyHeader]: key() };
  if (body !== undefined && !(body instanceof Blob)) {
    headers["Content-Type"] = "application/json";
    body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch("/api/" + path, { method, headers, body, signal });
  } catch (e) {
    if (e.name === "AbortError") throw e;
    throw new Refused("The desk does not answer. Does boltrose desk still run in the terminal?", 0);
  }
  const json = (answer.headers.get("Content-Type") || "").startsWith("application/json");
  if (!answer.ok) {
    const said = json ? (await answer.json()).Refusal : await answer.text();
    throw new Refused(said, answer.status);
  }
  return json ? answer.json() : answer;
}
