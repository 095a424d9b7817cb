// Trades the token behind # for a cookie. What stands there is never sent to a server by the browser itself.
import { ask, line } from "./bench.js";

const told = document.getElementById("told");
const more = document.getElementById("more");
const form = document.getElementById("by-code");
const token = new URLSearchParams(location.hash.slice(1)).get("t");
history.replaceState(null, "", location.pathname);

function say(head, text) { told.textContent = head; more.textContent = text; }

function byHand(head, text) {
  say(head, text);
  form.hidden = false;
}

async function start() {
  try {
    const known = await ask("/api/me");
    if (known.status === 200) { location.replace("/"); return; }
    if (!token) { byHand("This device is not paired yet.", "Type the code, or open the link that the bench printed."); return; }
    const { status, told: answer } = await ask("/api/pair", { token, name: guess() });
    if (status === 201) location.replace("/");
    else byHand("This link did not work.", line(answer));
  } catch { say("The bench does not answer.", "Is it still running? Load this page again."); }
}

function guess() {
  const here = location.hostname === "127.0.0.1" || location.hostname === "localhost";
  if (here) return "";
  return /iPad|Tablet/i.test(navigator.userAgent) ? "tablet" : /iPhone|Android|Mobile/i.test(navigator.userAgent) ? "phone" : "browser";
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const body = { code: document.getElementById("code").value, name: document.getElementById("name").value || guess() };
    const { status, told: answer } = await ask("/api/pair", body);
    if (status === 201) location.replace("/");
    else say("That did not work.", line(answer));
  } catch { say("The bench does not answer.", "Is it still running? Load this page again."); }
});
start();
