// Saves clicks. Every page does its work without this file.
"use strict";

// Where the places do not fit, the present one is in sight.
const here = document.querySelector(".top nav [aria-current]");
if (here) here.parentElement.scrollLeft = here.offsetLeft + here.offsetWidth - here.parentElement.clientWidth;

// A filter applies itself when a choice changes; typing still needs Enter.
for (const form of document.querySelectorAll("form.filter")) {
  for (const select of form.querySelectorAll("select")) {
    select.addEventListener("change", () => form.requestSubmit());
  }
}

// What goes on is looked at again from time to time, in place: the page is not
// loaded anew, what is typed nowhere is lost, and the focus stays where it was.
function lookAgain() {
  const busy = document.querySelector("[data-again]");
  if (!busy) return;
  setTimeout(async () => {
    const main = document.getElementById("main");
    const answer = await fetch(location.href).catch(() => null);
    if (answer && (answer.redirected || answer.status === 404)) return location.replace(answer.url); // it is over
    if (!answer?.ok) return lookAgain();
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("main");
    const focused = main.contains(document.activeElement) && document.activeElement.getAttribute("href");
    main.replaceChildren(...fresh.childNodes);
    if (focused) main.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus();
    lookAgain();
  }, 1000 * busy.dataset.again);
}
lookAgain();

// A file that is on its way says so, and is not sent twice.
for (const form of document.querySelectorAll("form.upload")) {
  form.addEventListener("submit", (event) => {
    if (event.submitter) event.submitter.textContent = "Sending…";
    // Not before the form is sent: a disabled button's value is not.
    setTimeout(() => form.querySelectorAll("button").forEach((b) => { b.disabled = true; }));
  });
}

// Coming back by the browser's history finds the button as it was.
addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});
