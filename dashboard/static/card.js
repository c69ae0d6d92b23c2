// Forms of a job card and of a brake test, which kept.js keeps and sends. Without
// this file they are sent as any form is.
"use strict";

{
  const forms = document.querySelectorAll("form[data-keep]");
  forms.forEach(start);
  remember();
  // And with a card the forms of its brake tests.
  const tests = [...document.querySelectorAll("#test .next a")].map((a) => a.pathname + a.search);
  if (forms.length) withinReach(forms[0].dataset.page || (location.search ? "" : location.pathname), tests);

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
    const { keep: key, name, page, whole } = form.dataset;
    const state = form.querySelector(".state");

    const fields = () => [...form.elements].filter((x) => x.name && x.type !== "hidden" && x.name !== "sure" && x.dataset.remember === undefined);
    const isChanged = (x) => {
      if (x.type === "radio" || x.type === "checkbox") return x.checked !== x.defaultChecked;
      if (x.tagName !== "SELECT") return x.value !== x.defaultValue;
      return x.selectedIndex !== Math.max(0, [...x.options].findIndex((o) => o.defaultSelected));
    };
    // Of a card only what a person changed is kept: the rest is the server's to say. A
    // form marked as a whole is kept as it stands, once anything is typed in it.
    const values = () => {
      if (!fields().some(isChanged) && whole !== "typed") return null;
      const out = {};
      for (const x of fields()) {
        const ticks = x.type === "radio" || x.type === "checkbox";
        if (whole && ticks) out[x.name] ??= [];
        // A mark that was taken back stands for its whole group.
        if (x.type === "radio" && x.defaultChecked && !fields().some((y) => y.name === x.name && y.checked)) out[x.name] = [""];
        else if (ticks ? x.checked && (whole || !x.defaultChecked) : whole || isChanged(x)) (out[x.name] ??= []).push(x.value);
      }
      return out;
    };
    const freeze = (waits) => {
      for (const x of form.querySelectorAll("input, select, button")) if (!x.closest(".state")) x.disabled = waits;
    };
    // What a step was shown with is kept with what is entered of it.
    const was = () => Object.fromEntries([...form.querySelectorAll("[name^=was_]")].map((x) => [x.name, x.value]));
    const kept = keptForm(form, key, { number: name, page, values, besides: () => ({ was: was() }), freeze, back: (now) => back(now) });
    // What was cleared was that, and not what somebody else has entered since.
    let entered = false;
    for (const [name, value] of Object.entries(kept.entry.values || {})) {
      const before = name.replace(/^(state|note|value)_(\d+).*/, "was_$2");
      const now = was()[before];
      if (before === name || String(value) || !now || kept.entry.was?.[before] === now) continue;
      delete kept.entry.values[name];
      entered = true;
    }
    kept.restore();

    const at = (x) => x.closest("label") || x.parentElement;
    // What is wrong stands at its field, and the first such has the focus.
    const back = (now) => {
      const answer = kept.entry.answer ||= {};
      kept.say(answer.message || answer.detail || "It was not taken: look at the entries.");
      if (now) known(answer.was || {});
      const faults = answer.faults || {};
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
        else at(x).after(p);
      }
      if (answer.sure) {
        const label = document.createElement("label");
        label.className = "tick sure";
        const tick = document.createElement("input");
        Object.assign(tick, { type: "checkbox", name: "sure", value: answer.sure });
        label.append(tick, " Read twice: it is right");
        state.after(label);
      }
      if (wrong.length === 0) return;
      wrong[0].focus({ preventScroll: true });
      at(wrong[0]).scrollIntoView({ block: "center" });
    };
    // known takes note of the steps that were taken in meanwhile: they can be taken back.
    const known = (steps) => {
      for (const [name, value] of Object.entries(steps)) {
        const hidden = form.elements[name] || document.createElement("input");
        Object.assign(hidden, { type: "hidden", name, value });
        form.append(hidden);
        const marks = fields().filter((x) => x.name === name.replace("was", "state"));
        if (marks.some((x) => x.value === "")) continue;
        const label = document.createElement("label");
        label.append(Object.assign(document.createElement("input"), { type: "radio", name: marks[0].name, value: "" }), " not entered");
        marks.at(-1).closest("label").after(label);
      }
    };
    const clearFaults = () => {
      for (const p of form.querySelectorAll("p.wrong, .sure")) p.remove();
      for (const x of form.querySelectorAll("[aria-invalid]")) {
        x.removeAttribute("aria-invalid");
        x.removeAttribute("aria-describedby");
      }
    };
    if (kept.entry.answer) back();
    else if (entered) kept.say("A step that was cleared on this phone was entered anew meanwhile, and stands as it is.");
    else if (whole !== "typed") kept.sayStill();

    // A step that was marked by mistake is marked no longer when it is tapped again, or as
    // it was; a double tap is one.
    const marked = new Map(fields().filter((x) => x.type === "radio" && x.checked).map((x) => [x.name, x.value]));
    for (const x of form.querySelectorAll(".steps-hint [hidden]")) x.hidden = false;
    let tapped = null, when = 0;
    form.addEventListener("click", (event) => {
      const { target, timeStamp } = event;
      if (target.type !== "radio") return;
      if (target === tapped && timeStamp - when < 500) return event.preventDefault();
      tapped = target;
      when = timeStamp;
      if (marked.get(target.name) === target.value) {
        target.checked = false;
        const before = fields().find((x) => x !== target && x.name === target.name && (x.defaultChecked || x.value === ""));
        if (before) before.checked = true;
        marked.set(target.name, before?.value);
        target.dispatchEvent(new Event("input", { bubbles: true }));
        return;
      }
      marked.set(target.name, target.value);
    });

    form.addEventListener("input", ({ target }) => {
      if (kept.entry.body || target.name === "sure") return;
      delete kept.entry.answer;
      kept.sayKept(kept.keep());
    });

    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (kept.entry.body) return;
      if (event.submitter?.value === "judge") return judge();
      kept.send(); // with what was read twice
      clearFaults();
    });

    // judge asks the server what it would say, which takes a connection and keeps nothing.
    const judge = () => fetch("/measure-worker.js", { cache: "no-store" }).then(() => {
      const asked = document.createElement("input");
      Object.assign(asked, { type: "hidden", name: "do", value: "judge" });
      form.append(asked);
      form.submit();
      asked.remove(); // whoever comes back to this page may want it kept
    }, () => kept.say("There is no connection to judge it by. It is kept on this phone: “Keep it” sends it when there is one."));

    kept.stand();
    if (form.dataset.today) kept.today(form.elements.day, form.dataset.today);
  }
}
