// The form of one vehicle: remarks as values are entered, which kept.js keeps and
// sends. Without this file the server makes the same remarks when the form is sent.
"use strict";

{
  const form = document.querySelector("form.measure");
  if (form) start(form);

  function start(form) {
    const given = form.dataset;
    const words = JSON.parse(given.words);
    const number = (s) => (s === "" || s === undefined ? NaN : Number(s));
    const field = (name) => form.elements["" + name];

    const { kmPerMile, millimetres, kilometres, kmText } = quantity;
    const told = (text, part) => quantity.told(text, part, given);

    // What is typed for a rotor or a drum is never in 32nds, as gaugeUnit has it.
    const unitOf = (input) => {
      const unit = field("unit").value;
      return unit === "1/32 in" && !["pad", "lining"].includes(input.dataset.part) ? "in" : unit;
    };

    // ---- Remarks, as pipeline.Sheet.Remarks makes them: a change here is one
    // there. Each is {text, doubt}.

    const newSlack = 0.5; // mm
    const tenths = (x) => Math.round(10 * x) / 10;
    const tenthText = (x) => tenths(x).toFixed(1);
    const mmText = (x) => (Math.round(100 * x) / 100).toFixed(2).replace(/0$/, "");
    const remark = (code, doubt, values) => ({
      doubt,
      text: words[code].replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all),
    });
    const days = (from, to) => Math.round((Date.parse(to) - Date.parse(from)) / 86400000);

    const odometerRemarks = (km) => {
      const at = field("odometer").dataset;
      const last = number(at.last);
      if (Number.isNaN(last)) return [];
      const day = at.lastDay;
      const reach = last + number(given.besides) + number(given.perDay) * Math.max(0, days(given.lastDay, field("date").value || given.today));
      const miles = km * kmPerMile;
      const next = number(given.next);
      if (km < last && field("km_unit").value !== "mi" && miles >= last && miles <= reach) return [remark("km-miles", true, { last: kmText(last), day, km: kmText(miles) })];
      if (km < last) return [remark("km-below", true, { last: kmText(last), day })];
      const asKm = km / kmPerMile;
      if (km > reach && field("km_unit").value === "mi" && asKm >= last && asKm <= reach) return [remark("km-km", true, { d: kmText(km - last), day, km: kmText(asKm) })];
      if (km > reach) return [remark("km-far", true, { d: kmText(km - last), day, reach: kmText(reach - last) })];
      if (km > next) return [remark("km-later", true, { next: kmText(next), nextday: given.nextDay })];
      return [];
    };

    const placeRemarks = (input, mm) => {
      const at = input.dataset;
      const grows = at.part === "drum";
      const [limit, fresh, last, low, high] = [at.limit, at.new, at.last, at.low, at.high].map(number);
      const v = mmText(mm);
      const out = [];
      if (!grows && mm <= limit) out.push(remark("limit", false, { v, limit: mmText(limit) }));
      if (grows && mm >= limit) out.push(remark("limit-drum", false, { v, limit: mmText(limit) }));
      if (grows && mm < fresh - newSlack) return [...out, remark("new-drum", true, { v, new: mmText(fresh) })];
      if (!grows && mm > fresh + newSlack) {
        const code = tenths(mm / 10) >= tenths(low) && tenths(mm / 10) <= tenths(high) ? "new-point" : at.part === "pad" || at.part === "lining" ? "new-plate" : "new";
        return [...out, remark(code, true, { v, new: mmText(fresh), t: mmText(mm / 10) })];
      }
      if (Number.isNaN(low)) return out;
      const above = tenths(mm - high);
      const below = tenths(low - mm);
      const gain = tenths(grows ? last - mm : mm - last);
      const better = grows ? below > 0 : above > 0;
      const range = { low: tenthText(low), high: tenthText(high) };
      if (better && at.thinnest) return out; // others of these places may well be thicker
      if (better && gain > 0) out.push(remark(grows ? "gain-drum" : "gain", true, { d: tenthText(gain), day: at.lastDay, last: mmText(last) }));
      else if (above > 0) out.push(remark("above", true, { d: tenthText(above), ...range }));
      else if (below > 0) out.push(remark("below", true, { d: tenthText(below), ...range }));
      return out;
    };

    const apartRemarks = (code, input, mm, otherName, word) => {
      const other = otherName && field(otherName);
      const allowed = number(given.apart);
      const w = other ? valueOf(other) : NaN;
      const apart = (d) => d - allowed > 1e-9;
      if (!apart(w - mm) || w > number(other.dataset.new) + newSlack) return [];
      const known = apart(number(other.dataset.median) - number(input.dataset.median));
      return [remark(code, !known, { d: tenthText(w - mm), other: word, w: mmText(w), apart: mmText(allowed) })];
    };

    const valueOf = (input) => {
      const mm = input.value.trim() === "" ? NaN : millimetres(input.value, unitOf(input));
      return mm === Infinity ? NaN : mm;
    };

    // look returns what is wrong with a field, or remarked.
    const look = (input) => {
      const text = input.value.trim();
      if (input.name === "technician") return text ? {} : { fault: "Say who measured" };
      if (input.name === "date") return text ? {} : { fault: "Give a day" };
      if (text === "") return {};
      if (input.name === "odometer") {
        const km = kilometres(text, field("km_unit").value);
        if (Number.isNaN(km)) return { fault: "“" + text + "” cannot be read: write the odometer in digits, such as 155000" };
        return { remarks: odometerRemarks(km).map((r) => ({ ...r, text: told(r.text) })) };
      }
      if (!input.dataset.part) return {};
      const unit = unitOf(input);
      const mm = millimetres(text, unit);
      if (mm === Infinity) return { fault: "“" + text + "”: no brake part measures that" };
      if (Number.isNaN(mm)) {
        const example = { mm: "7.4", in: "0.28", "1/32 in": "9" }[unit];
        return { fault: "“" + text + "” cannot be read: write " + unit + " in digits, such as " + example };
      }
      const at = input.dataset;
      const remarks = placeRemarks(input, mm);
      if (at.part === "pad" || at.part === "lining") {
        remarks.push(...apartRemarks("faces", input, mm, at.face, at.faceWord), ...apartRemarks("sides", input, mm, at.side, at.sideWord));
      }
      return { remarks: remarks.map((r) => ({ ...r, text: told(r.text, at.part) })) };
    };

    // ---- Showing them.

    const kept = keptForm(form, given.vehicle, { number: given.number, values: () => (isEmpty() ? null : values()), besides, freeze, back });
    const { say, sayKept, stand } = kept;
    const confirmed = { ...kept.entry.confirmed }; // by field: the text that was confirmed
    const touched = new Set(kept.entry.touched); // fields that were left once
    const inputs = [...form.querySelectorAll("[data-field] :is(input, textarea):not([type=checkbox])")];

    // server are the remarks of an answer, which stand as long as the text does.
    const server = (name, text) => (kept.entry.answer && kept.entry.asked?.[name] === text ? kept.entry.answer : null);

    const show = (input) => {
      const name = input.name;
      const text = input.value.trim();
      const { fault, remarks = [] } = touched.has(name) ? look(input) : {};
      const all = [...remarks];
      const answer = server(name, text);
      for (const r of answer?.remarks || []) {
        if (r.field === name && !all.some((x) => x.text === r.text)) all.push(r);
      }
      const wrong = fault || answer?.faults?.[name];
      const box = document.getElementById("r-" + name);
      const parts = all.map((r) => {
        const p = document.createElement("p");
        p.textContent = r.text;
        return p;
      });
      if (wrong) {
        const p = document.createElement("p");
        p.className = "wrong";
        p.textContent = wrong;
        parts.unshift(p);
      }
      const doubt = !wrong && all.some((r) => r.doubt);
      if (doubt) {
        const label = document.createElement("label");
        label.className = "check";
        const tick = document.createElement("input");
        tick.type = "checkbox";
        tick.name = "confirm-" + name;
        tick.value = text;
        tick.checked = confirmed[name] === text;
        label.append(tick, "Read twice: it is right");
        parts.push(label);
      }
      // What stands there already stays: it is not said again to those who hear
      // the page, and a box that is being tapped is still there to be ticked.
      const same = box.children.length === parts.length && box.textContent === parts.map((p) => p.textContent).join("") &&
        (!doubt || box.querySelector("[type=checkbox]")?.value === text);
      if (!same) box.replaceChildren(...parts);
      input.toggleAttribute("aria-invalid", Boolean(wrong));
      box.parentElement.classList.toggle("bad", Boolean(wrong));
      return { wrong, open: doubt && confirmed[name] !== text };
    };

    const isMeasure = (input) => Boolean(input.dataset.part) && !input.closest("details");
    const countUp = () => {
      const main = inputs.filter(isMeasure);
      const filled = main.filter((x) => x.value.trim()).length;
      const more = inputs.filter((x) => x.dataset.part && !isMeasure(x) && x.value.trim()).length + form.querySelectorAll("[name=tick]:checked").length;
      form.querySelector(".count").textContent = filled + " of " + main.length + " filled in" + (more ? ", " + more + " more" : "");
      for (const wheel of form.querySelectorAll(".wheel")) {
        const own = main.filter((x) => wheel.contains(x));
        const done = own.filter((x) => x.value.trim()).length;
        const extra = [...wheel.querySelectorAll("details input")].filter((x) => (x.type === "checkbox" ? x.checked : x.value.trim())).length;
        const left = wheel.querySelector("select").value;
        wheel.querySelector("summary .done").textContent = [extra ? extra + " filled in" : "", left].filter(Boolean).map((s) => "· " + s).join(" ");
        const link = form.querySelector('.walk [href="#' + wheel.id + '"]');
        link.querySelector(".done").textContent = left && done < own.length ? "left out" : done + "/" + own.length;
        link.classList.toggle("all", done === own.length || Boolean(left));
      }
    };

    // ---- Keeping them.

    // fresh is a key for a form: anything nobody else makes up.
    const fresh = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

    const values = () => {
      const out = {};
      for (const [name, value] of new FormData(form)) {
        if (!name.startsWith("confirm-")) (out[name] ??= []).push(value);
      }
      return out;
    };
    // What was typed in last is remembered, units as long as the reader's own stay
    // the same.
    const remembered = ["technician", "unit", "km_unit"];
    const usual = { unit: field("unit").value, km_unit: field("km_unit").value };
    // What an instrument shows is a matter of its vehicle, not of the phone.
    const memory = (name) => "brakewear:" + name + ([undefined, "mm", "km"].includes(usual[name]) ? "" : " " + usual[name]) +
      (name === "km_unit" ? " " + given.vehicle : "");
    const isEmpty = () => inputs.every((x) => ["technician", "date"].includes(x.name) || !x.value.trim()) &&
      !form.querySelector("[name=tick]:checked") && [...form.querySelectorAll(".why select")].every((s) => !s.value);

    const keep = () => {
      for (const name of remembered) {
        try {
          if (field(name).value === usual[name]) localStorage.removeItem(memory(name));
          else localStorage.setItem(memory(name), field(name).value);
        } catch { /* it is only a convenience */ }
      }
      return kept.keep();
    };
    // besides is what is kept beside the values.
    function besides() {
      field("key").value = kept.entry.key ??= fresh();
      return { confirmed, touched: [...touched] };
    }

    const restore = () => {
      for (const name of remembered) {
        try {
          const s = localStorage.getItem(memory(name));
          if (s && !(name === "technician" && field(name).value)) field(name).value = s;
        } catch { /* as above */ }
      }
      kept.restore();
      if (kept.entry.key) field("key").value = kept.entry.key;
      for (const more of form.querySelectorAll("details.more")) {
        more.open ||= [...more.querySelectorAll("input, select")].some((x) => (x.type === "checkbox" ? x.checked : x.value));
      }
    };

    // ---- Saying how it stands with the form.

    const send = form.querySelector(".sendbar [type=submit]");
    function freeze(waits, sending) {
      for (const set of form.querySelectorAll(".who, .odometer, .wheels, .walk, .place")) set.inert = waits;
      send.disabled = waits;
      send.textContent = waits && sending ? "Sending…" : "Send";
    }

    const first = (names) => {
      const input = inputs.find((x) => names.includes(x.name));
      if (!input) return;
      for (let d = input.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
      (document.getElementById("r-" + input.name).querySelector("[type=checkbox]") || input).focus({ preventScroll: true });
      input.closest("[data-field]").scrollIntoView({ block: "center" });
    };

    // back shows an answer that wants another look.
    function back() {
      const { answer, asked } = kept.entry;
      if (!answer) return;
      if (answer.key) field("key").value = answer.key;
      inputs.forEach((x) => touched.add(x.name));
      ask();
      say(answer.message || answer.detail || "It was not taken: look at the entries.");
      first([...Object.keys(answer.faults || {}), ...(answer.remarks || []).filter((r) => r.doubt && confirmed[r.field] !== asked?.[r.field]).map((r) => r.field)]);
    }

    // ask says how many fields want another look, and returns their names. Until there
    // are none it is said anew with each that is put right.
    let asking = false;
    const ask = () => {
      const looks = inputs.map((x) => ({ name: x.name, ...show(x) }));
      const wrong = looks.filter((l) => l.wrong).map((l) => l.name);
      const open = looks.filter((l) => l.open).map((l) => l.name);
      asking = wrong.length + open.length > 0;
      if (wrong.length) say(wrong.length === 1 ? "One field cannot be read." : wrong.length + " fields cannot be read.");
      else if (open.length) say((open.length === 1 ? "One value wants" : open.length + " values want") + " a second look: measure again, then correct or confirm.");
      return wrong.length ? wrong : open;
    };
    const showAll = () => {
      if (!asking) return inputs.forEach(show);
      ask();
      if (!asking) sayKept(keep());
    };

    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (kept.entry.body) return;
      inputs.forEach((x) => touched.add(x.name));
      const again = ask();
      if (asking) return first(again);
      if (isEmpty()) return say("Nothing is filled in yet.");
      kept.entry.asked = Object.fromEntries(inputs.map((x) => [x.name, x.value.trim()]));
      kept.send();
    });

    // ---- Typing.

    form.addEventListener("input", (event) => {
      if (event.target.name?.startsWith("confirm-")) return;
      const is = keep();
      if (!is || !form.querySelector(".state").textContent) sayKept(is);
      countUp();
    });
    form.addEventListener("change", (event) => {
      const input = event.target;
      const name = /^confirm-(.*)$/.exec(input.name)?.[1];
      if (name) {
        if (input.checked) confirmed[name] = input.value;
        else delete confirmed[name];
        keep();
        showAll();
        return;
      }
      if (inputs.includes(input)) touched.add(input.name);
      if (input.name === "unit") setKeypad();
      sayWho();
      keep();
      countUp();
      setTimeout(settle, 0);
    });
    // A tap that leaves a field changes it and then lands: what it was aimed at
    // must not be moved away in between by a remark.
    let pressed = false;
    const settle = () => pressed || showAll(); // a value speaks of its neighbours too
    addEventListener("pointerdown", () => { pressed = true; }, true);
    for (const end of ["pointerup", "pointercancel"]) {
      addEventListener(end, () => {
        pressed = false;
        setTimeout(settle, 0);
      }, true);
    }
    // The keypad's key for "next" leads on to the next place: it must not send
    // half a form.
    form.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.target.tagName !== "INPUT" || event.target.type === "checkbox") return;
      event.preventDefault();
      const round = inputs.filter((x) => x.checkVisibility());
      const next = round[round.indexOf(event.target) + 1];
      (next || send).focus();
    });
    // Fractions need a key that the number pad does not have.
    const setKeypad = () => {
      for (const input of inputs) if (input.dataset.part) input.inputMode = field("unit").value === "in" ? "text" : "decimal";
    };

    // ---- Beginning.

    restore();
    const who = form.querySelector("details.who");
    // As units.Reader.Day writes it.
    const dayWords = (date) => {
      const [year, month, day] = date.toISOString().slice(0, 10).split("-");
      const name = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"][month - 1];
      switch (given.days) {
        case "mon d, y": return name + " " + Number(day) + ", " + year;
        case "y-m-d": return year + "-" + month + "-" + day;
        case "d.m.y": return day + "." + month + "." + year;
        case "d/m/y": return day + "/" + month + "/" + year;
        case "m/d/y": return month + "/" + day + "/" + year;
      }
      return Number(day) + " " + name + " " + year;
    };
    const sayWho = () => {
      const date = field("date").valueAsDate;
      const said = [
        field("technician").value,
        date && "measured " + dayWords(date),
        field("unit").value,
      ];
      who.querySelector("summary").textContent = said.filter(Boolean).join(" · ");
    };
    who.open = !field("technician").value;
    sayWho();
    setKeypad();
    kept.today(field("date"), given.today, sayWho);
    if (kept.entry.values) inputs.forEach(show);
    kept.sayStill();
    countUp();
    stand(Boolean(kept.entry.body) && navigator.onLine);
    back();
    if (kept.entry.body) outbox.flush();
    withinReach(location.search ? "" : location.pathname, []);
  }
}
