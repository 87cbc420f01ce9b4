// Sends what a page asks for, with the page's own token; what went wrong becomes an error with the server's words.
export async function post(path, body, signal) {
  const token = document.querySelector("meta[name=page-token]").content;
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json", "x-page-token": token },
      body: JSON.stringify(body),
      signal,
    });
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Error("The server does not answer. Does hingeline serve still run?");
  }
  const text = await answer.text();
  let told;
  try {
    told = JSON.parse(text);
  } catch {
    throw new Error(answer.status === 403 ? "This page is older than the server. Load it again." : `The server refused: ${answer.status}.`);
  }
  if (!answer.ok) throw new Error([told.sentence, told.hint].filter(Boolean).join(" "));
  return told;
}
