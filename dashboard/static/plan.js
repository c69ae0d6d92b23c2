// A booking can be dragged to another day or depot. Its page has a form that
// does the same.
"use strict";
{
  const say = document.querySelector(".drag-fault");
  let dragged = null;
  for (const card of document.querySelectorAll("[data-booking]")) {
    card.draggable = true;
    card.addEventListener("dragstart", (event) => {
      dragged = card;
      event.dataTransfer.setData("text/plain", card.dataset.booking);
      event.dataTransfer.effectAllowed = "move";
    });
    card.addEventListener("dragend", () => { dragged = null; });
  }
  for (const shift of document.querySelectorAll(".shift")) {
    shift.addEventListener("dragover", (event) => {
      if (!dragged || shift.contains(dragged)) return;
      event.preventDefault();
      shift.classList.add("target");
    });
    shift.addEventListener("dragleave", () => shift.classList.remove("target"));
    shift.addEventListener("drop", async (event) => {
      event.preventDefault();
      shift.classList.remove("target");
      const body = new URLSearchParams({ depot: shift.dataset.depot, day: shift.dataset.day, why: "dragged on the plan" });
      let answer = null;
      try {
        answer = await fetch(`/bookings/${event.dataTransfer.getData("text/plain")}/move`, {
          method: "POST", body, headers: { Accept: "application/json" },
        });
      } catch { /* no network: said below */ }
      if (answer?.ok) {
        location.reload();
        return;
      }
      const problem = await answer?.json().catch(() => null);
      say.textContent = problem?.detail ?? (answer ? "It could not be moved." : "It was not moved: there is no connection. Try again.");
      say.hidden = false;
      say.scrollIntoView({ block: "center" });
    });
  }
}
