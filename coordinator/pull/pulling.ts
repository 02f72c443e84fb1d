/** A pull within a run or a plan: once all rolls that are asked for were surveyed, the cut is followed to their clips, and each roll goes on with its stretches alone. */
import { finding } from '../../findings/finding.ts';
import type { AnyProfile } from '../../profiles/schema.ts';
import type { KnownRoll } from '../roll/know.ts';
import { pullClips, stretched } from './clips.ts';
import type { PullClip, PullRecord } from './form.ts';
import type { PullOrder } from './order.ts';
import { pullRecord } from './record.ts';
import { type Pull, resolvePull } from './resolve.ts';

export interface Followed extends Pull {
  readonly record: PullRecord;
}

/** Pure. `known`: all rolls that are asked for, as far as they are known. */
export function followCut(order: PullOrder, known: readonly KnownRoll[], profile: AnyProfile): Followed {
  const read = known.filter(({ isSurveyed }) => isSurveyed);
  const clips: readonly PullClip[] = pullClips(
    read.map(({ roll, clips: own }) => ({ roll: roll.name, clips: own })),
    { day: order.day, profile },
  );
  const unmeasured = read.filter(({ clips: own }) => own.some(({ facts }) => facts === null));
  const pull = resolvePull({
    cut: order.cut,
    clips,
    unread: [...known.filter(({ isSurveyed }) => !isSurveyed), ...unmeasured].map(({ roll }) => roll.name),
    handles: order.handles,
    rate: order.rate,
    file: order.file,
  });
  const findings = [...pull.findings];
  if (pull.ranges.length === 0)
    findings.push(
      finding('pull-nothing', `0 of ${order.cut.uses.length} uses`, 'at least one clip of these rolls', {
        file: order.file,
      }),
    );
  const rolls = known.map(({ roll }) => roll.name);
  const followed = { ...pull, findings };
  return { ...followed, record: pullRecord(order, followed, { rolls, clips }) };
}

/** The roll's clips give way to the stretches of them. False: the cut uses nothing of it. */
export function takeStretches(known: KnownRoll, { ranges }: Pick<Pull, 'ranges'>, day: string): boolean {
  const taken = stretched({ roll: known.roll.name, clips: known.clips }, ranges, day);
  if (taken.clips.length === 0) return false;
  known.clips = taken.clips;
  known.unused = taken.unused;
  return true;
}
