// What every page needs: asking the bench, and the units.
const root = document.documentElement;
export const page = { bench: root.dataset.bench, version: Number(root.dataset.version), units: root.dataset.units };

export async function ask(path, body, { patience = 6000 } = {}) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), patience);
  try {
    const answer = await fetch(path, {
      method: body === undefined ? "GET" : "POST",
      headers: body === undefined ? { Accept: "application/json" } : { "Content-Type": "application/json", Accept: "application/json" },
      body: body === undefined ? undefined : JSON.stringify(body),
      credentials: "same-origin", cache: "no-store", redirect: "error", signal: stop.signal,
    });
    let told = {};
    try { told = await answer.json(); } catch { told = {}; }
    return { status: answer.status, told };
  } finally { clearTimeout(timer); }
}

export function newId() {
  // randomUUID is missing on plain HTTP in a house; this is not.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

export function line(told) {
  return told && told.error ? `${told.error}; ${told.mend || "try again"}.` : "The bench does not answer.";
}

for (const button of document.querySelectorAll(".units button")) {
  button.addEventListener("click", async () => {
    if (button.dataset.units === page.units) return;
    try {
      const { status } = await ask("/api/me", { units: button.dataset.units });
      if (status === 200) location.reload();
    } catch { /* Without the bench there is nothing to show in other units. */ }
  });
}
