// Forms of a job card: what is typed is kept in this browser until it is sent,
// and sent by outbox.js, once, as soon as there is a network. Without this file
// they are sent as any form is.
"use strict";

{
  const forms = document.querySelectorAll("form[data-keep]");
  forms.forEach(start);
  remember();

  // The name is asked for in several places: what was typed last stands in all.
  function remember() {
    const key = "brakewear:technician";
    const names = document.querySelectorAll("[data-remember=name]");
    for (const input of names) {
      try {
        input.value ||= localStorage.getItem(key) || "";
        input.addEventListener("input", () => localStorage.setItem(key, input.value));
        input.addEventListener("change", () => {
          for (const other of names) other.value ||= input.value;
        });
      } catch { /* it is only a convenience */ }
    }
  }

  function start(form) {
    const { keep: key, name } = form.dataset;
    const state = form.querySelector(".state");
    let entry = outbox.read(key) || {};

    const fields = () => [...form.elements].filter((x) => x.name && x.type !== "hidden" && x.name !== "sure" && x.dataset.remember === undefined);
    // Only what a person changed is kept: the rest is the server's to say.
    const changed = () => {
      const out = {};
      for (const x of fields()) {
        if (x.type === "radio") {
          if (x.checked && !x.defaultChecked) out[x.name] = x.value;
        } else if (x.tagName === "SELECT" ? x.selectedIndex > 0 : x.value !== x.defaultValue) {
          out[x.name] = x.value;
        }
      }
      return out;
    };
    const say = (text, ...more) => state.replaceChildren(text, ...more);

    const stand = () => {
      const waits = Boolean(entry.body);
      for (const x of form.querySelectorAll("input, select, button")) if (!x.closest(".state")) x.disabled = waits;
      if (!waits) return;
      const change = document.createElement("button");
      change.type = "button";
      change.className = "quiet";
      change.textContent = "Change it";
      change.addEventListener("click", () => {
        delete entry.body;
        outbox.write(key, entry);
        say("Kept on this phone as you type.");
        stand();
      });
      say(entry.why === "sign in" ? "Kept on this phone, not sent yet: sign in again, and it is sent. "
        : "Kept on this phone, not sent yet: there is no connection. It is sent by itself when there is one. ", change);
    };

    for (const [n, value] of Object.entries(entry.values || {})) {
      for (const x of fields()) {
        if (x.name !== n) continue;
        if (x.type === "radio") x.checked = x.value === value;
        else x.value = value;
      }
    }

    // What is wrong stands at its field, and the first such has the focus.
    const back = () => {
      say(entry.answer.message || entry.answer.detail || "It was not taken: look at the entries.");
      const faults = entry.answer.faults || {};
      const wrong = fields().filter((x, i, all) => faults[x.name] && all.findIndex((y) => y.name === x.name) === i);
      for (const x of wrong) {
        const p = document.createElement("p");
        p.className = "wrong";
        p.id = "w-" + x.name;
        p.textContent = faults[x.name];
        x.setAttribute("aria-invalid", "true");
        x.setAttribute("aria-describedby", p.id);
        const marks = x.closest("fieldset.marks");
        if (marks) marks.append(p);
        else x.closest("label").after(p);
      }
      if (entry.answer.sure) {
        const label = document.createElement("label");
        label.className = "tick sure";
        const tick = document.createElement("input");
        Object.assign(tick, { type: "checkbox", name: "sure", value: entry.answer.sure });
        label.append(tick, " Read twice: it is right");
        state.after(label);
      }
      if (wrong.length === 0) return;
      wrong[0].focus({ preventScroll: true });
      wrong[0].closest("label").scrollIntoView({ block: "center" });
    };
    const clearFaults = () => {
      for (const p of form.querySelectorAll("p.wrong, .sure")) p.remove();
      for (const x of form.querySelectorAll("[aria-invalid]")) {
        x.removeAttribute("aria-invalid");
        x.removeAttribute("aria-describedby");
      }
    };
    if (entry.answer) back();
    else if (entry.values && !entry.body) say("Entries that were not sent are still here.");

    // A step that was marked by mistake is marked no longer when it is tapped again; a
    // double tap is one.
    const marked = new Map(fields().filter((x) => x.type === "radio" && x.checked).map((x) => [x.name, x.value]));
    let tapped = null, at = 0;
    form.addEventListener("click", (event) => {
      const { target, timeStamp } = event;
      if (target.type !== "radio") return;
      if (target === tapped && timeStamp - at < 500) return event.preventDefault();
      tapped = target;
      at = timeStamp;
      if (marked.get(target.name) === target.value && !target.defaultChecked) {
        target.checked = false;
        const before = fields().find((x) => x.name === target.name && x.defaultChecked);
        if (before) before.checked = true;
        marked.set(target.name, before?.value);
        target.dispatchEvent(new Event("input", { bubbles: true }));
        return;
      }
      marked.set(target.name, target.value);
    });

    form.addEventListener("input", ({ target }) => {
      if (entry.body || target.name === "sure") return;
      const values = changed();
      delete entry.answer;
      if (Object.keys(values).length === 0) return outbox.write(key, null);
      Object.assign(entry, { values, to: form.getAttribute("action"), page: location.pathname, number: name, at: Date.now() });
      say(outbox.write(key, entry) ? "Kept on this phone as you type." : "This browser keeps nothing: stay on this page until it is sent.");
    });

    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (entry.body) return;
      Object.assign(entry, { values: changed(), to: form.getAttribute("action"), page: location.pathname, number: name, at: Date.now() });
      entry.body = new URLSearchParams(new FormData(form)).toString();
      clearFaults();
      delete entry.answer;
      if (!outbox.write(key, entry)) {
        delete entry.body;
        return form.submit(); // the browser keeps nothing
      }
      stand();
      say("Sending…");
      outbox.flush();
    });

    addEventListener("outbox:sent", ({ detail }) => {
      if (detail.vehicle !== key) return;
      // To another place of this page would load nothing anew.
      history.replaceState(null, "", detail.to);
      location.reload();
    });
    addEventListener("outbox:back", ({ detail }) => {
      if (detail.vehicle !== key) return;
      entry = outbox.read(key) || {};
      stand();
      entry.answer ||= {};
      back();
    });
    addEventListener("outbox:state", () => {
      if (!entry.body) return;
      entry = outbox.read(key) || entry;
      stand();
    });
    stand();
  }

  // The card stays within reach without a network where the browser lets it.
  if (forms.length && "serviceWorker" in navigator) {
    navigator.serviceWorker.register("/measure-worker.js").catch(() => { /* then the open page has to do */ });
  }
}
