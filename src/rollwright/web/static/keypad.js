// A keypad of our own: a phone's decimal keypad lacks minus, fraction and units, and its comma depends on its language.
export class Typed {
  constructor(input, unit, pad, changed, minus) {
    Object.assign(this, { input, unitPlace: unit, changed, minus });
    input.addEventListener("input", changed);
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]")?.dataset.key;
      if (key) this.press(key);
    });
    // A finger on the keypad must not take the caret away.
    pad.addEventListener("pointerdown", (event) => event.preventDefault());
  }

  get unit() { return this.unitPlace.textContent; }
  set unit(text) { this.unitPlace.textContent = text; }

  press(key) {
    const { input } = this;
    if (["mm", "thou", "in", "deg"].includes(key)) this.unit = key;
    else if (key === "minus") { if (this.minus) this.minus(); else this.insert("-"); }
    else if (key === "back") {
      const [from, to] = [input.selectionStart, input.selectionEnd];
      input.setRangeText("", from === to ? Math.max(0, from - 1) : from, to, "end");
    } else this.insert(key === "space" ? " " : key);
    this.changed();
  }

  insert(text) {
    const { input } = this;
    input.setRangeText(text, input.selectionStart, input.selectionEnd, "end");
  }

  clear() { this.input.value = ""; }

  // What was typed with its unit; a unit that was typed along counts.
  get written() {
    const text = this.input.value.trim();
    return !text || /[a-z°"'%]/i.test(text) ? text : `${text} ${this.unit}`;
  }
}
