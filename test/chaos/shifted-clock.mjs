/**
 * Loaded before a program (NODE_OPTIONS=--import): its wall clock goes by as many milliseconds beside the machine's as the file says that
 * RUSHLIGHT_TEST_CLOCK names, so that a test steps the clock of one machine and of no other. Monotonic clocks are left alone, as a step leaves them.
 */
import { readFileSync } from 'node:fs';

const LOOK_MILLISECONDS = 100;
const file = process.env.RUSHLIGHT_TEST_CLOCK;
const MachineDate = Date;
let shift = 0;
let looked = Number.NEGATIVE_INFINITY;

function now() {
  if (performance.now() - looked > LOOK_MILLISECONDS) {
    looked = performance.now();
    try {
      shift = Number(readFileSync(file, 'utf8')) || 0;
    } catch {
      // Being rewritten: what it said before holds.
    }
  }
  return MachineDate.now() + shift;
}

globalThis.Date = class extends MachineDate {
  constructor(...given) {
    if (given.length === 0) super(now());
    else super(...given);
  }
  static now() {
    return now();
  }
};
