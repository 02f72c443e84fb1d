/**
 * Where in a recording that which a clip heard is found again, as the checker looks for it: of each place the normalised correlation of first differences, sample by sample in time, coarse and
 * then fine. The survey goes by whitened spectra; nothing is shared. Pure.
 */

/** What a clip heard at one place, and what the recording has there and around, in the same samples of the clip's clock. */
export interface Place {
  readonly heard: Float64Array;
  /** As many samples of the recording before the place, and behind its end, as are looked at. */
  readonly around: Float64Array;
  /** Of these, how many lie before the place. */
  readonly before: number;
}

export interface FoundPlace {
  /** Samples by which the recording has it later than it was laid; negative: earlier. */
  readonly later: number;
  /** How alike the two are there, and where they are most alike elsewhere; from 0 to 1. */
  readonly alike: number;
  readonly elsewhere: number;
}

/** What is looked at first: whether both are up or down together for some hundreds of hertz. */
const COARSE_RATE = 8000;
/** Seconds around the best place that are the same sound, come back from walls. */
const PEAK_SECONDS = 0.1;

/** Means of so many samples, and from each the one before: what rooms and cameras hum is less of it. */
function coarsened(samples: Float64Array, factor: number): Float64Array {
  const out = new Float64Array(Math.floor(samples.length / factor));
  for (let at = 0; at < out.length; at += 1)
    for (let part = 0; part < factor; part += 1)
      out[at] = (out[at] as number) + (samples[at * factor + part] as number) / factor;
  return differences(out);
}

function differences(samples: Float64Array): Float64Array {
  const out = new Float64Array(Math.max(0, samples.length - 1));
  for (let at = 0; at < out.length; at += 1) out[at] = (samples[at + 1] as number) - (samples[at] as number);
  return out;
}

/** Of each place from `from` to `to` of `long`, end exclusive, how alike `short` is to what lies there; from -1 to 1. */
function alikeness(
  short: Float64Array,
  long: Float64Array,
  { from, to }: Record<'from' | 'to', number>,
): Float64Array {
  const out = new Float64Array(Math.max(0, to - from));
  let own = 0;
  for (const value of short) own += value * value;
  let energy = 0;
  for (let at = 0; at < short.length; at += 1) energy += (long[from + at] as number) ** 2;
  for (let place = from; place < to; place += 1) {
    let sum = 0;
    for (let at = 0; at < short.length; at += 1) sum += (short[at] as number) * (long[place + at] as number);
    const both = Math.sqrt(own * Math.max(energy, 0));
    out[place - from] = both > 0 ? sum / both : 0;
    energy += ((long[place + short.length] ?? 0) as number) ** 2 - (long[place] as number) ** 2;
  }
  return out;
}

function highest(values: Float64Array): number {
  let best = 0;
  for (let at = 1; at < values.length; at += 1)
    if ((values[at] as number) > (values[best] as number)) best = at;
  return best;
}

/** null: one of the two is silent, or nothing lies around the place. */
export function placeOf({ heard, around, before }: Place, sampleRate: number): FoundPlace | null {
  const factor = Math.max(1, Math.round(sampleRate / COARSE_RATE));
  const [short, long] = [coarsened(heard, factor), coarsened(around, factor)];
  const places = alikeness(short, long, { from: 0, to: long.length - short.length + 1 });
  if (places.length < 2) return null;
  const best = highest(places);
  const alike = places[best] as number;
  if (!(alike > 0)) return null;
  const near = Math.ceil((PEAK_SECONDS * sampleRate) / factor);
  let elsewhere = 0;
  for (const [place, value] of places.entries())
    if (Math.abs(place - best) > near) elsewhere = Math.max(elsewhere, value);
  const [fine, wide] = [differences(heard), differences(around)];
  const from = Math.max(0, (best - 1) * factor);
  const to = Math.min(wide.length - fine.length + 1, (best + 2) * factor);
  const within = alikeness(fine, wide, { from, to });
  return { later: from + highest(within) - before, alike, elsewhere };
}
