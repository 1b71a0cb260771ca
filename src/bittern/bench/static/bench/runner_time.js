// Moments as whole microseconds since 1970, as exact as the server's own: a double holds them until 2255.

const PARTS = /^(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d)(?::(\d\d)(?:\.(\d{1,6})\d*)?)?(Z|[+-]\d\d:\d\d(?::\d\d)?)$/;

// Microseconds of a text in ISO 8601 with its zone; NaN when it is none.
export const parseMoment = (text) => {
  const found = PARTS.exec(text ?? "");
  if (!found) return NaN;
  const [, year, month, day, hour, minute, second, fraction, zone] = found;
  const at = Date.UTC(year, month - 1, day, hour, minute, second ?? 0) * 1000 + Number((fraction ?? "").padEnd(6, "0"));
  if (zone === "Z") return at;
  const [hours, minutes, seconds] = zone.slice(1).split(":").map(Number);
  const off = ((hours * 60 + minutes) * 60 + (seconds ?? 0)) * 1e6;
  return zone[0] === "-" ? at + off : at - off;
};

// A moment as text, in UTC.
export const writeMoment = (at) => {
  const whole = Math.floor(at / 1000);
  const rest = String(at - whole * 1000).padStart(3, "0");
  return new Date(whole).toISOString().replace("Z", `${rest}+00:00`);
};
