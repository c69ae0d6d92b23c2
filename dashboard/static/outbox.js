// Forms that were sent without a network. They are kept in this browser and
// sent once, with the same key, as soon as that is possible: the server knows a
// key it has seen, so that nothing is counted twice. On every page, for a
// person who has gone on must not lose what was entered.
"use strict";

const outbox = (() => {
  const prefix = "brakewear:form:";
  // Seconds between tries while the network is down; the last one stays.
  const pauses = [3, 5, 10, 20, 30];
  let tries = 0;
  let timer = 0;

  const read = (vehicle) => {
    try {
      return JSON.parse(localStorage.getItem(prefix + vehicle)) || null;
    } catch {
      return null;
    }
  };
  // write says whether the browser keeps it.
  const write = (vehicle, entry) => {
    try {
      if (entry) localStorage.setItem(prefix + vehicle, JSON.stringify(entry));
      else localStorage.removeItem(prefix + vehicle);
      return true;
    } catch {
      return false;
    }
  };
  // waiting lists the forms that are to be sent.
  const waiting = () => {
    const found = [];
    try {
      for (let i = 0; i < localStorage.length; i++) {
        const key = localStorage.key(i);
        if (!key.startsWith(prefix)) continue;
        const vehicle = key.slice(prefix.length);
        const entry = read(vehicle);
        if (entry && entry.body) found.push({ vehicle, entry });
      }
    } catch { /* no storage, so nothing is kept */ }
    return found;
  };

  const tell = (name, detail) => dispatchEvent(new CustomEvent("outbox:" + name, { detail }));

  // send sends one form. It says what became of it: "sent", "back" where a
  // person has to look at it, or "later".
  const send = async (vehicle, entry) => {
    let response, answer;
    try {
      response = await fetch(entry.to, {
        method: "POST",
        headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
        body: entry.body,
        signal: AbortSignal.timeout(30000),
      });
      answer = await response.json().catch(() => null);
    } catch {
      return "later";
    }
    // Taken back meanwhile: then this answer is of no more use.
    if (read(vehicle)?.body !== entry.body) return "back";
    if (response.ok && answer && answer.to) {
      write(vehicle, null);
      tell("sent", { vehicle, number: entry.number, to: answer.to });
      return "sent";
    }
    // Sent on to a page to sign in, or a server that cannot just now.
    if (response.ok || response.status >= 500 || [401, 403, 408, 429].includes(response.status)) {
      entry.why = response.ok || response.status === 401 || response.status === 403 ? "sign in" : "";
      write(vehicle, entry);
      return "later";
    }
    delete entry.body;
    if (answer && answer.key) entry.key = answer.key;
    entry.answer = answer || { message: "It was not taken (" + response.status + "): load the page again." };
    write(vehicle, entry);
    tell("back", { vehicle, number: entry.number });
    return "back";
  };

  const sendAll = async () => {
    clearTimeout(timer);
    let later = false;
    for (const { vehicle, entry } of waiting()) {
      later = (await send(vehicle, entry)) === "later" || later;
    }
    tries = later ? tries + 1 : 0;
    if (later) timer = setTimeout(flush, 1000 * pauses[Math.min(tries, pauses.length) - 1]);
    show();
  };

  // flush sends what waits, in one tab at a time.
  let busy = null;
  const flush = () => {
    busy ??= (navigator.locks
      ? navigator.locks.request("brakewear-outbox", { ifAvailable: true }, (lock) => {
          if (lock) return sendAll();
          timer = setTimeout(flush, 3000); // another tab is at it
        })
      : sendAll()
    ).finally(() => { busy = null; });
    return busy;
  };

  // show says on every page what waits.
  const show = () => {
    const forms = waiting();
    tell("state", forms);
    let bar = document.querySelector("p.outbox");
    if (forms.length === 0 || document.querySelector("form.measure")) {
      bar?.remove();
      return;
    }
    if (!bar) {
      bar = document.createElement("p");
      bar.className = "outbox notice";
      bar.setAttribute("role", "status");
      document.querySelector("main").prepend(bar);
    }
    bar.replaceChildren(forms.length === 1 ? "1 form is kept on this phone, not sent yet: " : forms.length + " forms are kept on this phone, not sent yet: ");
    forms.forEach(({ entry }, i) => {
      const link = document.createElement("a");
      link.href = entry.page || entry.to;
      link.textContent = entry.number;
      bar.append(i ? ", " : "", link);
    });
    bar.append(". They are sent by themselves when that is possible.");
  };

  addEventListener("online", flush);
  addEventListener("visibilitychange", () => document.visibilityState === "visible" && waiting().length && flush());
  addEventListener("outbox:sent", ({ detail }) => {
    if (document.querySelector("form.measure")?.dataset.vehicle === detail.vehicle) return;
    const note = document.createElement("p");
    note.className = "notice";
    note.setAttribute("role", "status");
    const link = document.createElement("a");
    link.href = detail.to;
    link.textContent = detail.number;
    note.append("The form that was kept on this phone is sent now: ", link, ".");
    document.querySelector("main").prepend(note);
  });
  // When the scripts of the page are there to hear of it.
  addEventListener("DOMContentLoaded", () => {
    if (waiting().length === 0) return;
    show();
    flush();
  });
  return { read, write, flush };
})();
