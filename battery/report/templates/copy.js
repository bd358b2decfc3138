"use strict";
(() => {
  const button = document.getElementById("copy");
  const text = document.getElementById("note-text");
  const said = document.getElementById("copied");
  const told = (words) => { said.textContent = words; };
  const select = () => {
    const range = document.createRange();
    range.selectNodeContents(text);
    const selection = window.getSelection();
    selection.removeAllRanges();
    selection.addRange(range);
  };
  const byHand = () => {
    select();
    const done = document.execCommand("copy");
    told(done ? "Copied." : "Selected; copy it with the keyboard.");
  };
  button.hidden = false;
  button.addEventListener("click", () => {
    if (navigator.clipboard && window.isSecureContext) {
      navigator.clipboard.writeText(text.innerText).then(() => told("Copied."), byHand);
    } else {
      byHand();
    }
  });
})();
