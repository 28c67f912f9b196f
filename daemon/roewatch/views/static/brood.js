// Counts by large steps without a round trip; the rest of a brood's page needs no script of its own.
"use strict";

document.addEventListener("click", (event) => {
  const button = event.target.closest('.tally button[name="step"]');
  if (!button) return;
  event.preventDefault();
  const form = button.form;
  const first = form.elements.count;
  const whole = /^\s*(about\s+|~\s*)?(\d{1,7})(?:\s*[-–]\s*(\d{1,7}))?\s*$/i.exec(first.value);
  if (whole?.[1]) form.elements.about.checked = true;
  if (whole?.[3]) form.elements.to.value = whole[3];
  first.value = Math.max(0, Number(whole?.[2] || 0) + Number(button.value));
});
