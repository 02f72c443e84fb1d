/** Draws cases, runs them two at a time, and counts what came of each fault. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import pLimit from 'p-limit';
import { z } from 'zod';
import { describeOperation, type FaultName } from '../faults/fault.ts';
import { stages } from '../faults/operation.ts';
import { type Deal, dealer } from './draw.ts';
import { wayDealer } from './ways.ts';
import type { WayFaultName } from '../faults/way-faults.ts';
import { runCase } from './run-case.ts';

export interface CampaignRequest {
  readonly seed: number;
  /** Cases with a fault, and without. */
  readonly cases: number;
  readonly clean: number;
  /** Material and work lie here. */
  readonly folder: string;
  /** This case alone: `17`, `clean-17`. Its files are kept. */
  readonly only?: string;
  /** This fault alone. */
  readonly fault?: FaultName;
  /** Sources of every kind whose pictures go a colour way, and its faults; `true`: all of them. */
  readonly ways?: true | WayFaultName;
  /** Cases that ended before: not run again. */
  readonly known?: readonly CampaignCase[];
  /** No case is begun after that time (milliseconds as of `performance.now()`). */
  readonly until?: number;
  readonly onResult?: (result: CampaignCase) => void;
}

/**
 * `caught`: held for what it is; `otherwise`: held, for something else. `no-effect`: ready, and the files are what an intact encoder makes. `not-claimed`: ready, they are not, and the report says that those frames cannot be told from their neighbours.
 * `missed`: ready, they are not, and nothing says so.
 * `below`: ready, they are not, and the fault is smaller than what is promised to be found (docs/campaign.md).
 * Of clean cases `ready` and `wrong-held`. `broken`: the case itself did not work.
 */
const ends = [
  'caught',
  'otherwise',
  'no-effect',
  'not-claimed',
  'below',
  'missed',
  'ready',
  'wrong-held',
  'broken',
] as const;
export type End = (typeof ends)[number];

export const campaignCaseSchema = z.strictObject({
  id: z.string(),
  fault: z.string().nullable(),
  stage: z.enum(stages).nullable().describe('Where it sits; null where that is no question'),
  clip: z.string(),
  profiles: z.array(z.string()).readonly(),
  operation: z.string(),
  end: z.enum(ends),
  codes: z.array(z.string()).readonly(),
  differences: z
    .array(z.string())
    .readonly()
    .describe(
      'Of a missed fault what differs in the files, of a case held wrongly or for something else the findings, of a broken one why',
    ),
  seconds: z.number(),
});
export type CampaignCase = Readonly<z.infer<typeof campaignCaseSchema>>;

/** What the machine can do at once without one case slowing the other. */
const AT_ONCE = 2;

async function oneCase(
  { id, fault, draw, isApt }: Deal,
  folder: string,
  keep: boolean,
): Promise<CampaignCase> {
  let about: Pick<CampaignCase, 'id' | 'fault' | 'stage' | 'clip' | 'profiles' | 'operation'> = {
    id,
    fault,
    stage: null,
    clip: 'none was drawn',
    profiles: [],
    operation: '',
  };
  try {
    const { clip, profiles, operation, job } = await draw();
    about = {
      id,
      fault,
      stage: 'stage' in operation ? operation.stage : null,
      clip,
      profiles,
      operation: describeOperation(operation),
    };
    const { verdict, codes, reported, done, withoutEffect, notClaimed, differences, milliseconds } =
      await runCase(job, operation, join(folder, `case-${id}`), keep);
    const end: End = !done
      ? 'broken'
      : fault === null
        ? verdict === 'ready'
          ? 'ready'
          : 'wrong-held'
        : verdict === 'held'
          ? isApt(operation, codes)
            ? 'caught'
            : 'otherwise'
          : withoutEffect
            ? 'no-effect'
            : notClaimed
              ? 'not-claimed'
              : 'claimed' in operation && operation.claimed === false
                ? 'below'
                : 'missed';
    return {
      ...about,
      end,
      codes,
      differences: !done
        ? ['the fault was not done', ...reported]
        : end === 'wrong-held' || end === 'otherwise'
          ? reported
          : differences,
      seconds: Math.round(milliseconds / 100) / 10,
    };
  } catch (error) {
    return { ...about, end: 'broken', codes: [], differences: [(error as Error).message], seconds: 0 };
  }
}

/** Every case, those with a fault first, in the order of their numbers; those that were not begun in time are left out. */
export async function runCampaign(request: CampaignRequest): Promise<CampaignCase[]> {
  const { seed, folder, only, until = Number.POSITIVE_INFINITY } = request;
  const known = new Map((request.known ?? []).map((one) => [one.id, one]));
  mkdirSync(folder, { recursive: true });
  const { ways } = request;
  const material = join(folder, 'material');
  const { fault, clean } =
    ways === undefined
      ? await dealer(seed, material, request.fault)
      : wayDealer(seed, material, ways === true ? undefined : ways);
  const numbers = (count: number): number[] => Array.from({ length: count }, (_, index) => index);
  const deals = [...numbers(request.cases).map(fault), ...numbers(request.clean).map(clean)];
  const limit = pLimit(AT_ONCE);
  const wanted = only === undefined ? deals : deals.filter(({ id }) => id === only);
  const ended = await Promise.all(
    wanted.map((deal) =>
      limit(async () => {
        const before = known.get(deal.id);
        if (before !== undefined) return before;
        if (performance.now() > until) return null;
        const result = await oneCase(deal, folder, only !== undefined);
        request.onResult?.(result);
        return result;
      }),
    ),
  );
  return ended.filter((result) => result !== null);
}

export interface FaultRow {
  readonly fault: string;
  readonly stage: string;
  readonly cases: number;
  readonly caught: number;
  readonly otherwise: number;
  readonly noEffect: number;
  readonly notClaimed: number;
  readonly below: number;
  readonly missed: number;
  readonly broken: number;
  /** What it was held for: codes and in how many cases, most frequent first. */
  readonly codes: readonly (readonly [code: string, cases: number])[];
}

export interface CampaignSummary {
  readonly rows: readonly FaultRow[];
  readonly clean: {
    readonly cases: number;
    readonly ready: number;
    readonly wrongHeld: number;
    readonly broken: number;
  };
  /** Nothing missed, nothing held wrongly, every case did what it should. */
  readonly good: boolean;
}

function codesOf(list: readonly CampaignCase[]): [string, number][] {
  const counts = new Map<string, number>();
  for (const code of list.flatMap(({ codes }) => codes)) counts.set(code, (counts.get(code) ?? 0) + 1);
  return [...counts].sort(
    ([one, oneCount], [other, otherCount]) => otherCount - oneCount || (one < other ? -1 : 1),
  );
}

export function summaryOf(results: readonly CampaignCase[]): CampaignSummary {
  const count = (list: readonly CampaignCase[], end: End): number =>
    list.filter((one) => one.end === end).length;
  const names = [
    ...new Set(results.flatMap(({ fault, stage }) => (fault === null ? [] : [`${fault} ${stage ?? ''}`]))),
  ].sort();
  const rows = names.map((name) => {
    const [fault, stage] = name.split(' ') as [string, string];
    const list = results.filter((one) => one.fault === fault && (one.stage ?? '') === stage);
    return {
      fault,
      stage,
      cases: list.length,
      caught: count(list, 'caught'),
      otherwise: count(list, 'otherwise'),
      noEffect: count(list, 'no-effect'),
      notClaimed: count(list, 'not-claimed'),
      below: count(list, 'below'),
      missed: count(list, 'missed'),
      broken: count(list, 'broken'),
      codes: codesOf(list),
    };
  });
  const without = results.filter(({ fault }) => fault === null);
  return {
    rows,
    clean: {
      cases: without.length,
      ready: count(without, 'ready'),
      wrongHeld: count(without, 'wrong-held'),
      broken: count(without, 'broken'),
    },
    good:
      results.length > 0 &&
      !results.some(({ end }) => end === 'missed' || end === 'wrong-held' || end === 'broken'),
  };
}
