// Forms that are kept in this browser as they are typed and sent by outbox.js, once,
// as soon as there is a network: of readings, of job cards and of brake tests. Without
// this file they are sent as any form is.
"use strict";

// keptForm keeps a form under a key. What differs from form to form:
//   number         its name, on pages that tell of it
//   page           where it is, unless that is the address of this page
//   values()       what is typed, a list by field; null = nothing
//   besides()      what else is kept with it
//   freeze(waits)  it waits to be sent, or may be changed
//   back(now)      shows the answer that it came back with, now or some time ago
const keptForm = (form, key, of) => {
  const state = form.querySelector(".state");
  const kept = { entry: outbox.read(key) || {} };

  // What says the same already is left: a finger may be on its button.
  const say = kept.say = (text, ...more) => {
    if (state.firstChild?.data !== text || state.childNodes.length !== 1 + more.length) state.replaceChildren(text, ...more);
  };
  const button = (text, act) => {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "quiet";
    b.textContent = text;
    b.addEventListener("click", act);
    return b;
  };
  kept.sayKept = (is) => say(is ? "Kept on this phone as you type." : "This browser keeps nothing: stay on this page until it is sent.");

  const write = (values) => {
    Object.assign(kept.entry, {
      values, to: form.getAttribute("action"), page: of.page || location.pathname + location.search, number: of.number, at: Date.now(), ...of.besides?.(),
    });
    return outbox.write(key, kept.entry);
  };
  // keep says whether the browser keeps what is typed.
  kept.keep = () => {
    if (kept.entry.body) return true; // it waits to be sent, as it is
    const values = of.values();
    return values ? write(values) : outbox.write(key, null);
  };
  kept.send = () => {
    delete kept.entry.answer;
    write(of.values() || {});
    kept.entry.body = new URLSearchParams(new FormData(form)).toString();
    if (!outbox.write(key, kept.entry)) {
      delete kept.entry.body;
      return form.submit(); // the browser keeps nothing, so it is sent as any form is
    }
    kept.stand(true);
    outbox.flush();
  };

  // change takes a form back that waits. Should it have arrived after all, the
  // server says so.
  const change = () => {
    delete kept.entry.body;
    delete kept.entry.why;
    outbox.write(key, kept.entry);
    kept.sayKept(true);
    kept.stand();
  };
  kept.stand = (sending) => {
    const waits = Boolean(kept.entry.body);
    of.freeze(waits, sending);
    if (!waits) return;
    if (sending) say("Sending…");
    else if (kept.entry.why === "sign in") say("Kept on this phone, not sent yet: sign in again, and it is sent. ", button("Change it", change));
    else say("Kept on this phone, not sent yet: there is no connection. It is sent by itself when there is one. ", button("Change it", change));
  };

  kept.restore = () => {
    for (const [name, value] of Object.entries(kept.entry.values || {})) {
      for (const x of form.elements) {
        if (x.name !== name || x.type === "hidden") continue;
        if (x.type === "radio" || x.type === "checkbox") x.checked = value.includes(x.value);
        else x.value = [value].flat()[0];
      }
    }
  };
  // sayStill says that entries of an earlier time are here.
  kept.sayStill = () => {
    if (!kept.entry.values || kept.entry.body) return;
    const when = new Date(kept.entry.at).toLocaleString(undefined, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
    say("Entries of " + when + " are still here, not sent. ", button("Start afresh", () => {
      outbox.write(key, null);
      location.reload();
    }));
  };
  // A copy of an older page, without a network, is filled in today all the same. The
  // "sv" way to write a day is ISO's.
  kept.today = (input, given, then) => {
    const today = new Date().toLocaleDateString("sv");
    if (kept.entry.values || given >= today) return;
    fetch("/measure-worker.js", { cache: "no-store" }).catch(() => {
      if (input.max) input.max = today;
      input.value = today;
      then?.();
    });
  };

  const taken = "brakewear:taken";
  addEventListener("outbox:sent", ({ detail }) => {
    if (detail.vehicle !== key) return;
    // To another place of this page would load nothing anew.
    const to = new URL(detail.to, location);
    if (to.pathname !== location.pathname) return location.assign(to);
    history.replaceState(null, "", to);
    sessionStorage.setItem(taken, key);
    location.reload();
  });
  addEventListener("outbox:back", ({ detail }) => {
    if (detail.vehicle !== key) return;
    kept.entry = outbox.read(key) || kept.entry;
    delete kept.entry.body;
    kept.stand();
    of.back(true);
  });
  addEventListener("outbox:state", () => {
    if (!kept.entry.body) return;
    kept.entry = outbox.read(key) || kept.entry;
    if (kept.entry.body) kept.stand();
  });

  try {
    if (sessionStorage.getItem(taken) === key) {
      sessionStorage.removeItem(taken);
      say("Taken in.");
    }
  } catch { /* it is only a convenience */ }
  return kept;
};
