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

    const fields = () => [...form.elements].filter((x) => x.name && x.type !== "hidden" && x.dataset.remember === undefined);
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
    if (entry.answer) say(entry.answer.message || entry.answer.detail || "It was not taken: look at the entries.");
    else if (entry.values && !entry.body) say("Entries that were not sent are still here.");

    form.addEventListener("input", () => {
      if (entry.body) return;
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
      say(entry.answer?.message || entry.answer?.detail || "It was not taken: look at the entries.");
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
