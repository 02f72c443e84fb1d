/** Did the demo night come out as the script says? Pure. */
import type { RollVerdict } from '../../ledger/roll.ts';
import type { FindingCode } from '../../findings/registry.ts';
import { DAMAGED, type DemoRoll } from './script.ts';

const DIFFERS = 'file-checksum-differs' satisfies FindingCode;

/** One line per thing that came out otherwise; none: as it should. `null`: the roll has no verdict on disk. */
export function surprises(
  script: readonly DemoRoll[],
  verdicts: ReadonlyMap<string, RollVerdict | null>,
): string[] {
  return script.flatMap((roll) => {
    const verdict = verdicts.get(roll.name) ?? null;
    if (verdict === null) return [`${roll.name}: no verdict, expected ${roll.expected}`];
    if (verdict.verdict !== roll.expected)
      return [`${roll.name}: ${verdict.verdict}, expected ${roll.expected}`];
    if (roll.name !== DAMAGED.roll) return clipsMissing(roll, verdict);
    return damageFound(verdict)
      ? []
      : [`${roll.name}: held, but not for the byte that differs in ${DAMAGED.clip} on ${DAMAGED.copy}`];
  });
}

function clipsMissing(roll: DemoRoll, verdict: RollVerdict): string[] {
  const there = verdict.clips.filter((clip) => clip.verdict === 'ready').length;
  const wanted = roll.clips.length + (roll.shots ?? []).length;
  return there === wanted ? [] : [`${roll.name}: ${there} clips ready, expected ${wanted}`];
}

/** The finding must be about the checksum of that file in that copy, and that copy alone may fail. */
function damageFound(verdict: RollVerdict): boolean {
  const failing = verdict.copies.filter((copy) => !copy.verified);
  const named = verdict.findings.some(
    (item) => item.code === DIFFERS && item.file === DAMAGED.clip && onDamagedDrive(item.copy ?? ''),
  );
  return named && failing.length === 1 && failing.every((copy) => onDamagedDrive(copy.folder));
}

function onDamagedDrive(folder: string): boolean {
  return folder.split('/').includes(DAMAGED.copy);
}
