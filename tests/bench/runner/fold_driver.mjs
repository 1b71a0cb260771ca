// Reads a run a line ({sheet, events}) and answers a line: after every event the state, or the code of a refusal.

import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const fold = await import(pathToFileURL(`${process.argv[2]}/runner_fold.js`));
const census = await import(pathToFileURL(`${process.argv[2]}/runner_census.js`));

for await (const line of createInterface({ input: process.stdin })) {
  const { sheet, events } = JSON.parse(line);
  const said = [];
  try {
    let state = fold.startRun(sheet);
    for (const event of events) {
      let refused = "";
      try {
        state = fold.applyEvent(sheet, state, event);
      } catch (error) {
        if (!(error instanceof fold.Refusal)) throw error;
        refused = error.code;
      }
      const lost = census.findLostKeys(sheet, state.keys ?? []);
      said.push({ refused, state, lost, forecast: census.forecastKeys(sheet, state) });
    }
  } catch (error) {
    said.push({ refused: error.code ?? String(error.stack) });
  }
  process.stdout.write(`${JSON.stringify(said)}\n`);
}
