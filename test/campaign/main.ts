/** `npm run campaign`: arguments in, table out. */
import { appendFileSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { type FaultName, faultNames } from '../faults/fault.ts';
import { wayFaultNames } from '../faults/way-faults.ts';
import { type LimitsResult, limitNames, measureLimits } from './limits-run.ts';
import {
  type CampaignCase,
  campaignCaseSchema,
  type CampaignSummary,
  runCampaign,
  summaryOf,
} from './campaign.ts';

export interface CampaignOutput {
  readonly seed: number;
  readonly results: readonly CampaignCase[];
  readonly summary: CampaignSummary;
  readonly asJson: boolean;
  /** Cases that were not begun in time. */
  readonly left: number;
  /** Where the case's files are; null when they were removed. */
  readonly kept: string | null;
}

function wholeNumber(name: string, text: string | undefined, otherwise: number): number {
  if (text === undefined) return otherwise;
  if (!/^\d{1,9}$/.test(text)) throw new RangeError(`--${name} takes a whole number, not ${text}`);
  return Number(text);
}

/** A line of what was drawn by, then a line of JSON for each case that ended. Throws RangeError when it is of other cases. */
function resultsIn(path: string, drawnBy: string): CampaignCase[] {
  if (!existsSync(path)) {
    writeFileSync(path, `${drawnBy}\n`);
    return [];
  }
  const [first, ...lines] = readFileSync(path, 'utf8').split('\n');
  if (first !== drawnBy)
    throw new RangeError(`${path} has results of ${first ?? 'nothing'}, not of ${drawnBy}`);
  // The last line of a run that was killed is none: it would run into the next.
  const whole = lines.slice(0, -1);
  writeFileSync(path, [first, ...whole, ''].join('\n'));
  return whole.map((line) => campaignCaseSchema.parse(JSON.parse(line)));
}

/** Throws RangeError for arguments that mean nothing. `report` gets a line for each case as it ends. */
export async function campaign(
  args: readonly string[],
  report: (line: string) => void,
): Promise<CampaignOutput> {
  const options = {
    seed: { type: 'string' },
    cases: { type: 'string' },
    clean: { type: 'string' },
    case: { type: 'string' },
    fault: { type: 'string' },
    folder: { type: 'string' },
    json: { type: 'boolean' },
    ways: { type: 'boolean' },
    results: { type: 'string' },
    minutes: { type: 'string' },
  } as const;
  const { values } = parseArgs({ args: [...args], options });
  const only = values.case;
  const seed = wholeNumber('seed', values.seed, 1);
  const number = only === undefined ? null : Number(/^(?:clean-)?(\d+)$/.exec(only)?.[1] ?? Number.NaN);
  if (number !== null && !Number.isSafeInteger(number))
    throw new RangeError(`--case takes a number, or clean-<number>, not ${only}`);
  const names: readonly string[] = values.ways === true ? wayFaultNames : faultNames;
  if (values.fault !== undefined && !names.includes(values.fault))
    throw new RangeError(`--fault takes one of ${names.join(', ')}`);
  const wayFault = wayFaultNames.find((name) => name === values.fault);
  const movieFault = (faultNames as FaultName[]).find((name) => name === values.fault);
  const cases =
    number === null ? wholeNumber('cases', values.cases, 100) : only?.startsWith('clean-') ? 0 : number + 1;
  const clean =
    number === null
      ? wholeNumber('clean', values.clean, Math.ceil(cases / 5))
      : only?.startsWith('clean-')
        ? number + 1
        : 0;
  const kind = values.ways === true ? 'ways' : 'movies';
  const known =
    values.results === undefined
      ? []
      : resultsIn(values.results, `seed ${seed}, ${kind}, ${values.fault ?? 'every fault'}`);
  const minutes = values.minutes === undefined ? null : wholeNumber('minutes', values.minutes, 0);
  const folder = values.folder ?? mkdtempSync(join(tmpdir(), 'rushlight-campaign-'));
  const keep = values.folder !== undefined || only !== undefined;
  let ended = known.length;
  try {
    const results = await runCampaign({
      seed,
      cases,
      clean,
      folder,
      known,
      ...(minutes === null ? {} : { until: performance.now() + minutes * 60_000 }),
      ...(only === undefined ? {} : { only }),
      ...(values.ways === true
        ? { ways: wayFault ?? true }
        : movieFault === undefined
          ? {}
          : { fault: movieFault }),
      onResult: (result) => {
        ended += 1;
        if (values.results !== undefined) appendFileSync(values.results, `${JSON.stringify(result)}\n`);
        report(`${ended} of ${only === undefined ? cases + clean : 1}: ${lineOf(result)}`);
      },
    });
    return {
      seed,
      results,
      summary: summaryOf(results),
      left: (only === undefined ? cases + clean : 1) - results.length,
      asJson: values.json === true,
      kept: keep ? folder : null,
    };
  } finally {
    if (!keep) rmSync(folder, { recursive: true, force: true });
  }
}

/** Of `a,b`: those of the names that are known; throws RangeError for another. Everything where nothing is said. */
function namesOf<Name extends string>(
  option: string,
  text: string | undefined,
  known: readonly Name[],
): Name[] {
  if (text === undefined) return [...known];
  return text.split(',').map((name) => {
    const found = known.find((one) => one === name);
    if (found === undefined)
      throw new RangeError(`--${option} takes some of ${known.join(', ')}, not ${name}`);
    return found;
  });
}

/** `--limits`: how small a fault may be and still be found. Throws RangeError for arguments that mean nothing. */
export async function limitsCampaign(
  args: readonly string[],
  report: (line: string) => void,
): Promise<LimitsResult> {
  const text = { type: 'string' } as const;
  const { values } = parseArgs({
    args: [...args],
    options: {
      limits: { type: 'boolean' },
      seed: text,
      codecs: text,
      scenes: text,
      kinds: text,
      size: text,
      frames: text,
      places: text,
      single: text,
    },
  });
  const size = /^(\d{2,4})x(\d{2,4})$/.exec(values.size ?? '640x360');
  if (size === null) throw new RangeError(`--size takes width x height, not ${values.size}`);
  return await measureLimits(
    {
      seed: wholeNumber('seed', values.seed, 1),
      coders: namesOf('codecs', values.codecs, limitNames.coders),
      scenes: namesOf('scenes', values.scenes, limitNames.scenes),
      kinds: namesOf('kinds', values.kinds, limitNames.kinds),
      width: Number(size[1]),
      height: Number(size[2]),
      frames: wholeNumber('frames', values.frames, 12),
      places: wholeNumber('places', values.places, 3),
      single: wholeNumber('single', values.single, 4),
    },
    report,
  );
}

export function lineOf({
  id,
  fault,
  clip,
  profiles,
  operation,
  end,
  codes,
  differences,
  seconds,
}: CampaignCase): string {
  return [
    `case ${id}, ${end}, ${fault ?? 'clean'}`,
    clip,
    profiles.join(' + '),
    operation,
    ...codes,
    ...differences,
    `${seconds} s`,
  ].join('; ');
}
