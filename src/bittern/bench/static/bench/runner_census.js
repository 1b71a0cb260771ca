// The key census on the device: the same words as on the server (engines/pairing/census.py), tested against it.

// What Python's strip() takes away, which is not quite what trim() does.
const SPACE = "[\\t-\\r\\x1c-\\x20\\x85\\xa0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000]*";
const BOTH_ENDS = new RegExp(`^${SPACE}|${SPACE}$`, "g");
export const strip = (text) => text.replace(BOTH_ENDS, "");

// Why the keys do not allow a point of no return to be passed; nothing when they do.
export const findCensusGaps = (sheet, keys) => {
  const gaps = [];
  const names = keys.map((key) => strip(key.name));
  if (!keys.length) gaps.push("No key is in the census.");
  if (names.some((name) => !name)) gaps.push("A key in the census has no name.");
  for (const name of new Set(names)) {
    if (name && names.filter((one) => one === name).length > 1) gaps.push(`Two keys are called ${name}.`);
  }
  if (sheet.census === "new-only" && !keys.some((key) => key.present && key.new)) {
    gaps.push("Only new keys will work, and no new key is here.");
  } else if (keys.length && !keys.some((key) => key.present)) {
    gaps.push("No key of the census is here.");
  }
  return gaps;
};

// For every key whether it will work once the run has ended; null where only a trial can tell.
export const predictCensus = (sheet, keys, outcome, passedNoReturn, surely = true) => keys.map((key) => {
  const [works, because] = predictKey(sheet, key, outcome, passedNoReturn, surely);
  return { name: key.name, works, because };
});

// Names of the keys that may work now and will not once the sheet has ended well.
export const findLostKeys = (sheet, keys) => {
  const after = predictCensus(sheet, keys, "good", true);
  return keys
    .filter((key, place) => after[place].works === false && key.works_before !== false && !key.new)
    .map((key) => key.name);
};

// What becomes of each key as the run stands now; after a good end if it is not over.
export const forecastKeys = (sheet, state) => {
  const keys = state.keys ?? [];
  if (!state.ended) return predictCensus(sheet, keys, "good", true);
  // A point of no return that did not work may have been passed all the same.
  const surely = state.history.some((one) => sheet.steps[one.step_id].no_return && one.how !== "failed");
  return predictCensus(sheet, keys, state.outcome, state.passed_no_return || state.confirmed, surely);
};

const predictKey = (sheet, key, outcome, passedNoReturn, surely) => {
  const unpaired = key.new && !key.works_before;
  if (outcome === "good") return predictAfterGood(sheet, key);
  if (outcome === "unchanged" || (outcome === "" && !passedNoReturn)) {
    if (unpaired) return outcome ? [false, "It was not paired."] : [null, "The run was given up: try it."];
    return [key.works_before ?? null, "Nothing has changed for it."];
  }
  if (!passedNoReturn) {
    if (unpaired) return [false, "The run ended before it was paired."];
    return [null, "The vehicle is stranded; its keys were not touched, so try it once the vehicle is back."];
  }
  if (outcome === "stranded") {
    return [false, "Stranded after a point of no return: no key works until the vehicle is recovered."];
  }
  if (!surely) return [null, "A point of no return may have been passed: try it."];
  if (sheet.census === "present-only" && !key.present) {
    return [false, "It was not here when a point of no return was passed."];
  }
  if (sheet.census === "new-only" && !key.new) {
    return [false, "Old keys stopped working at the point of no return."];
  }
  return [null, "The run was given up after a point of no return: try it."];
};

const predictAfterGood = (sheet, key) => {
  if (key.new && key.present) return [true, "It was paired."];
  if (key.new && !(sheet.census === "all" && key.works_before)) return [false, "It was not here to be paired."];
  if (sheet.census === "all") return [key.works_before ?? null, "This procedure leaves old keys as they were."];
  if (sheet.census === "new-only") return [false, "Only new keys work after this procedure."];
  if (!key.present) return [false, "It was not here, and only keys that are here work after this procedure."];
  if ((key.works_before ?? null) === null) return [null, "It was here, and nobody could try it before: try it."];
  if (key.works_before === false) return [null, "It was here and did not work before: try it."];
  return [true, "It was here."];
};
