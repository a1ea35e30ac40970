// The list of cases: search, start one, take one in.
import { ask, dropbox, light } from "./common.js";

const at = (id) => document.getElementById(id);
const says = (words) => { at("says").textContent = words; };
light();

let waiting;
at("search").addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    const answer = await fetch(`/cases?search=${encodeURIComponent(at("search").value)}`);
    if (answer.ok) at("cases").innerHTML = await answer.text();
  }, 120);
});

async function start(file) {
  const number = at("number").value.trim() || (file ? file.name.replace(/\.[^.]*$/, "") : "");
  if (!number) {
    says("Type your own case number first.");
    at("number").focus();
    return;
  }
  const query = new URLSearchParams({ number });
  if (file) query.set("name", file.name);
  says(file ? `Taking in ${file.name} ...` : "Starting the case ...");
  try {
    const made = await ask(`/new?${query}`, file || new Blob([]), true);
    location.href = made.case;
  } catch (error) {
    says(error.message);
  }
}

dropbox(at("drop"), at("new-scan"), start);
at("new").addEventListener("click", () => start(null));
at("zip").addEventListener("change", async () => {
  const file = at("zip").files[0];
  if (!file) return;
  says(`Taking in ${file.name} ...`);
  try {
    const made = await ask(`/import?${new URLSearchParams({ name: file.name })}`, file, true);
    location.href = made.case;
  } catch (error) {
    says(error.message);
  }
});
