// Thicknesses and distances as people type them and want them said, for form.js.
"use strict";

const quantity = (() => {
  // ---- Reading values, as ingest.ParseThickness and ParseDistance do.

  const inch = 25.4;
  const millimetres = (text, unit) => {
    let s = text.trim();
    const own = /^(.+?)\s*(mm|in\.|inch|in|"|″)$/i.exec(s);
    if (own) {
      s = own[1];
      unit = own[2].toLowerCase() === "mm" ? "mm" : "in";
    }
    const round = (x) => Math.round(x * 1e6) / 1e6;
    const fraction = /^(?:(\d+)\s+)?(\d+)\/(\d+)$/.exec(s);
    let x = NaN;
    if (fraction && unit !== "mm" && Number(fraction[3]) > 0) {
      x = round((Number(fraction[1] || 0) + Number(fraction[2]) / Number(fraction[3])) * inch);
    } else if (/^\d+(?:[.,]\d+)?$/.test(s)) {
      x = Number(s.replace(",", "."));
      if (unit === "in") x = round(x * inch);
      else if (unit === "1/32 in") x = round(x * inch / 32);
    }
    return x > 1000 ? Infinity : x; // more than any brake part measures
  };
  const kmPerMile = 1.609344;
  const kilometres = (text, unit) => {
    let s = text.trim();
    if (/^[1-9]\d{0,2}[.,]\d{3}$/.test(s)) s = s.replace(/[.,]/, "");
    if (/^\d{1,3}(?:[ '’\u00a0\u2009\u202f]\d{3})+(?:[.,]\d+)?$/.test(s)) s = s.replace(/[ '’\u00a0\u2009\u202f]/g, "");
    if (!/^\d+(?:[.,]\d+)?$/.test(s)) return NaN;
    const x = Number(s.replace(",", "."));
    const km = unit === "mi" ? Math.round(x * kmPerMile * 1e6) / 1e6 : x;
    return km <= 1e7 ? km : NaN;
  };

  const kmText = (x) => String(Math.round(x)).replace(/\B(?=(\d{3})+$)/g, ",");

  // ---- Saying them as the reader wants, as units.Reader.TextOf does: a change
  // here is one there. Remarks are made in mm and km.

  const fixed = (x, decimals) => (Math.round(x * 10 ** decimals) / 10 ** decimals).toFixed(decimals);
  const hair = 0.5; // mm
  const told = (text, part, given) => {
    const nd32 = part === "pad" || part === "lining";
    const say = (digits, unit) => {
      const x = Number(digits.replaceAll(",", ""));
      if (unit === "km") return given.distance === "mi" ? kmText(Math.round(x / kmPerMile * 1e6) / 1e6) : digits;
      if (given.thickness !== "in") return digits;
      if (nd32) return (x < hair ? fixed(x / (inch / 32), 2) : String(Number(fixed(x / (inch / 32), 1)))) + "/32";
      return fixed(x / inch, x < hair ? 4 : 3);
    };
    return text.replace(/(?:(\d[\d,]*(?:\.\d+)?) to )?(\d[\d,]*(?:\.\d+)?) (mm|km)\b/g, (all, low, value, unit) =>
      (low ? say(low, unit) + " to " : "") + say(value, unit) + " " + (unit === "km" ? given.distance : given.thickness));
  };

  return { kmPerMile, millimetres, kilometres, kmText, told };
})();
