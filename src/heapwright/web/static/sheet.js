// A filled sheet by keyboard alone: two digits jump on, Enter does too, a decimal comma goes back.
"use strict";
(() => {
  const form = document.getElementById("sheet");
  if (!form) return;
  const unit = document.getElementById("unit");
  const fields = () => [...form.querySelectorAll("input:not([type=hidden]), select, button")];
  const step = (from, by) => {
    const all = fields(), next = all[all.indexOf(from) + by];
    if (!next) return;
    next.focus();
    if (next.select && by > 0) next.select();
  };
  // In degrees F 1 and 2 begin numbers of three digits.
  const full = (text) => {
    const digits = text.replace(/^[-+]/, "");
    if (!/^\d+$/.test(digits)) return false;
    return digits.length === (unit.value === "F" && /^[12]/.test(digits) ? 3 : 2);
  };
  let jumped = null;
  form.addEventListener("input", (event) => {
    const field = event.target;
    if (!field.classList.contains("jump") || event.inputType === "deleteContentBackward") return;
    if (/^[.,]$/.test(field.value) && jumped) {
      field.value = "";
      const back = jumped;
      back.value += ".";
      back.focus();
      back.setSelectionRange(back.value.length, back.value.length);
      jumped = null;
      return;
    }
    jumped = null;
    if (full(field.value)) { jumped = field; step(field, 1); }
    else if (/^[-+]?\d+[.,]\d$/.test(field.value)) step(field, 1);
  });
  form.addEventListener("keydown", (event) => {
    const field = event.target;
    if (field.name === "notes" && /^[.,]$/.test(event.key) && field.value === "" && jumped) {
      event.preventDefault();
      jumped.value += ".";
      jumped.focus();
      jumped.setSelectionRange(jumped.value.length, jumped.value.length);
      jumped = null;
      return;
    }
    if (event.key === "Enter" && field.tagName === "INPUT") { event.preventDefault(); step(field, 1); }
    if (event.key === "Backspace" && field.classList.contains("jump") && field.value === "") {
      event.preventDefault();
      step(field, -1);
    }
  });
  const doubt = form.querySelector(".doubt input:not([type=hidden])");
  if (doubt) doubt.focus();
})();
