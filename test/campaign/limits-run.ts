/** `npm run campaign -- --limits`: what of each graded fault is found, by codec, size of picture and scene. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { GradedName } from '../faults/graded.ts';
import {
  benchOf,
  type CoderName,
  coderNames,
  everyKind,
  isPredicted,
  type LimitRow,
  limitRandom,
  limitRows,
  type SceneName,
  sceneNames,
  verdictOf,
} from './limits.ts';

export interface LimitsRequest {
  readonly seed: number;
  readonly coders: readonly CoderName[];
  readonly scenes: readonly SceneName[];
  readonly kinds: readonly GradedName[];
  readonly width: number;
  readonly height: number;
  readonly frames: number;
  readonly places: number;
  readonly single: number;
}

export interface LimitsTableRow {
  readonly coder: CoderName;
  readonly kind: string;
  readonly strength: number;
  readonly scope: 'one' | 'all';
  readonly cases: number;
  readonly found: number;
  /** Scenes in which one was missed, with how many. */
  readonly missed: Readonly<Partial<Record<SceneName, number>>>;
}

export interface LimitsResult {
  readonly rows: readonly LimitsTableRow[];
  /** Intact files of which the comparison says something: none. */
  readonly alarms: readonly string[];
}

export const limitNames = { coders: coderNames, scenes: sceneNames, kinds: everyKind };

export async function measureLimits(
  request: LimitsRequest,
  report: (line: string) => void,
): Promise<LimitsResult> {
  const { seed, coders, scenes, kinds, width, height, frames, places, single } = request;
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-limits-'));
  const all: (LimitRow & { readonly coder: CoderName })[] = [];
  const alarms: string[] = [];
  try {
    for (const scene of scenes)
      for (const coder of coders) {
        const name = `${scene}, ${coder}, ${width}x${height}`;
        const bench = await benchOf({
          folder,
          coder,
          scene,
          take: seed % 2,
          size: { width, height },
          frames: isPredicted(coder) ? 2 * frames : frames,
        });
        alarms.push(...verdictOf(bench, bench.intact).faults.map(({ found }) => `${name}: ${found}`));
        const random = limitRandom(seed, scene, coder, `${width}x${height}`);
        const rows = await limitRows({ bench, scene, random, kinds, places, single });
        all.push(...rows.map((row) => ({ ...row, coder })));
        const missed = rows.filter(({ found }) => !found);
        report(
          `${name}: ${rows.length - missed.length} of ${rows.length}; missed ${missed.map(({ kind, strength, scope }) => `${kind} ${strength} ${scope}`).join(', ')}`,
        );
      }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return { rows: tableOf(all), alarms };
}

function tableOf(all: readonly (LimitRow & { readonly coder: CoderName })[]): LimitsTableRow[] {
  const key = ({ coder, kind, scope, strength }: (typeof all)[number]): string =>
    [coder, kind, scope, strength].join(' ');
  return [...new Set(all.map(key))].flatMap((name) => {
    const rows = all.filter((row) => key(row) === name);
    const [first] = rows;
    if (first === undefined) return [];
    const missed: Partial<Record<SceneName, number>> = {};
    for (const { scene, found } of rows) if (!found) missed[scene] = (missed[scene] ?? 0) + 1;
    return [
      {
        coder: first.coder,
        kind: first.kind,
        strength: first.strength,
        scope: first.scope,
        cases: rows.length,
        found: rows.filter(({ found }) => found).length,
        missed,
      },
    ];
  });
}
