// What every page does: ask the server, tell what was refused, switch the light.

export class Refused extends Error {
  constructor(status, said) {
    super(said?.says || "the workbench did not answer; is it still running?");
    this.status = status;
    this.said = said || {};
  }
}

export async function ask(address, body, raw) {
  let answer;
  try {
    answer = await fetch(address, body === undefined ? {} : {
      method: "POST",
      body: raw ? body : JSON.stringify(body),
      headers: raw ? { "content-type": "application/octet-stream" } : { "content-type": "application/json" },
    });
  } catch {
    throw new Refused(0);
  }
  const kind = answer.headers.get("content-type") || "";
  const held = kind.includes("json") ? await answer.json() : { text: await answer.text() };
  if (!answer.ok) throw new Refused(answer.status, held.conflict || held.refused || { says: held.text });
  return held;
}

export function element(name, words, attributes = {}) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (Array.isArray(words)) made.append(...words);
  else if (words !== undefined) made.textContent = words;
  return made;
}

export function light() {
  const button = document.getElementById("light");
  if (!button) return;
  button.addEventListener("click", () => {
    const dark = document.documentElement.dataset.light !== "dark";
    document.documentElement.dataset.light = dark ? "dark" : "light";
    localStorage.setItem("pinseat-light", dark ? "dark" : "light");
    document.dispatchEvent(new Event("light"));
  });
}

// A box that takes a dropped file or a chosen one.
export function dropbox(box, input, take) {
  if (!box || !input) return;
  const over = (on) => (event) => {
    event.preventDefault();
    box.classList.toggle("over", on);
  };
  box.addEventListener("dragover", over(true));
  box.addEventListener("dragleave", over(false));
  box.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer.files.length) take(event.dataTransfer.files[0]);
  });
  input.addEventListener("change", () => {
    if (input.files.length) take(input.files[0]);
    input.value = "";
  });
}
