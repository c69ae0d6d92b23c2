// Lists the vehicles that fit while a number or plate is typed. Without this
// file the button does it.
"use strict";

{
  const form = document.querySelector("form.find");
  const input = form.querySelector("input[type=search]");
  const list = form.querySelector(".found");
  const say = form.querySelector(".find-say");
  let at = -1; // option that the arrow keys are on
  let asked = null;
  let timer = 0;

  for (const [name, value] of Object.entries({
    role: "combobox", "aria-autocomplete": "list", "aria-controls": list.id, "aria-expanded": "false",
  })) input.setAttribute(name, value);
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Vehicles");

  const options = () => [...list.querySelectorAll("a")];

  // ready makes options of the links: the arrow keys go through them, not Tab.
  const ready = () => {
    at = -1;
    input.removeAttribute("aria-activedescendant");
    options().forEach((a, i) => {
      a.id = "found-" + i;
      a.tabIndex = -1;
      a.setAttribute("role", "option");
      a.setAttribute("aria-selected", "false");
      a.parentElement.setAttribute("role", "none");
    });
    input.setAttribute("aria-expanded", String(options().length > 0));
  };

  const mark = (i) => {
    const all = options();
    if (all.length === 0) return;
    all[at]?.setAttribute("aria-selected", "false");
    at = (i + all.length) % all.length;
    all[at].setAttribute("aria-selected", "true");
    all[at].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", all[at].id);
  };

  const show = ({ found, more }) => {
    list.replaceChildren(...found.map((v) => {
      const item = document.createElement("li");
      const link = document.createElement("a");
      link.href = v.link;
      const part = (tag, text, name) => {
        const x = document.createElement(tag);
        x.textContent = text;
        if (name) x.className = name;
        return x;
      };
      link.append(part("b", v.number));
      if (v.plate) link.append(" ", part("span", v.plate, "plate"));
      link.append(part("small", v.what));
      item.append(link);
      return item;
    }));
    const fits = (n) => (n === 1 ? "1 vehicle fits" : n + " vehicles fit");
    say.textContent = found.length === 0 ? "No vehicle has that in its number or plate."
      : more > 0 ? fits(found.length + more) + ", the nearest first: type more of it."
      : fits(found.length) + ".";
    ready();
  };

  const ask = async () => {
    const text = input.value.trim();
    asked?.abort();
    if (!text) {
      list.replaceChildren();
      say.textContent = "";
      ready();
      return;
    }
    asked = new AbortController();
    try {
      const response = await fetch("/measure?q=" + encodeURIComponent(text), { headers: { Accept: "application/json" }, signal: asked.signal });
      if (!response.ok) throw new Error(response.status);
      show(await response.json());
    } catch (err) {
      if (err.name === "AbortError") return;
      list.replaceChildren(); // which was of another text
      ready();
      say.textContent = !(err instanceof TypeError) ? "The list could not be had: load the page again."
        : today.length ? "There is no connection. The vehicles that are booked are below." : "There is no connection: the list waits for it.";
    }
  };

  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, 120);
  });
  addEventListener("online", ask);
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown") mark(at + 1);
    else if (event.key === "ArrowUp") mark(at < 0 ? -1 : at - 1);
    else if (event.key === "Escape" && list.children.length) list.replaceChildren(), ready();
    else return;
    event.preventDefault();
  });
  // Enter takes what the arrow keys are on, or the only one there is.
  form.addEventListener("submit", (event) => {
    const all = options();
    const chosen = all[at] ?? (all.length === 1 ? all[0] : null);
    if (!chosen) return;
    event.preventDefault();
    location.assign(chosen.href);
  });
  ready();
  if (input.value) input.select();

  // This page and the forms of the vehicles booked are at hand without a network.
  const today = [...document.querySelectorAll(".today a")].map((a) => a.pathname);
  withinReach(location.search ? "" : location.pathname, today);
}
