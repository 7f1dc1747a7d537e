// The number pad of the PIN: large keys in the page, so that no keyboard of the phone slides over the names.
for (const form of document.querySelectorAll("form[data-pin]")) {
  const field = form.elements.pin;
  const pad = form.querySelector(".pad");
  field.inputMode = "none";
  pad.hidden = false;
  pad.addEventListener("click", (event) => {
    const digit = event.target.closest("[data-digit]")?.dataset.digit;
    if (digit === undefined) return;
    field.value = digit ? (field.value + digit).slice(0, field.maxLength) : "";
  });
}
