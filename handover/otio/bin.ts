/** The bin of a day: a folder for each camera, in it one for each roll, in it the clips; and one with the clips that ran together, each such take as a stack. Pure. */
import { printable } from '../../files/names.ts';
import { roundedDivision, safeNumber, type Rate } from '../../media/time/rate.ts';
import { cutOf } from '../counting.ts';
import type { Day, DayClip, DayRoll } from '../day.ts';
import {
  cameraOfClip,
  type DayOrder,
  type Instant,
  minus,
  before,
  type PlacedClip,
  ranTogether,
} from '../day-clock.ts';
import { otioClip } from './clip.ts';
import type { Json } from './json.ts';
import { collection, gap, stack, track } from './objects.ts';
import { otioRecording } from './recording.ts';

export const rollBin = ({ roll, clips, recordings }: DayRoll): Json =>
  collection(printable(roll), { roll }, entriesOf(roll, clips, recordings));

function* entriesOf(
  roll: string,
  clips: DayRoll['clips'],
  recordings: DayRoll['recordings'],
): Generator<Json> {
  yield* mapped(clips, (clip) => otioClip(clip));
  yield* mapped(recordings, (recording) => otioRecording(roll, recording));
}

function* mapped<Value>(values: Iterable<Value>, of: (value: Value) => Json): Generator<Json> {
  for (const value of values) yield of(value);
}

/** Where sound rolls lie. */
const SOUND = 'sound';

/** A roll is one camera's: where its clips are of several by the settings, it lies with the first. */
function camerasOf(rolls: readonly DayRoll[]): Map<string, DayRoll[]> {
  const cameras = new Map<string, DayRoll[]>();
  for (const roll of rolls) {
    const [first] = roll.clips;
    const camera = first !== undefined ? cameraOfClip(first) : roll.recordings.length > 0 ? SOUND : roll.roll;
    cameras.set(camera, [...(cameras.get(camera) ?? []), roll]);
  }
  return new Map([...cameras].sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** `rolls`: those that are handed over. */
export function dayBin({ day }: Pick<Day, 'day'>, rolls: readonly DayRoll[], order: DayOrder): Json {
  const folders = mapped(camerasOf(rolls), ([camera, list]) =>
    collection(printable(camera), { camera }, mapped(list, rollBin)),
  );
  const groups = ranTogether(order);
  return collection(printable(day), { day, version: 0 }, withLast(folders, groups));
}

function* withLast(folders: Iterable<Json>, groups: readonly PlacedClip[][]): Generator<Json> {
  yield* folders;
  if (groups.length > 0) yield collection('ran together', { by: 'timecode' }, mapped(groups, takeStack));
}

/** Nearest frame of the rate. */
const framesIn = ({ num, den }: Instant, rate: Rate): number =>
  safeNumber(roundedDivision(num * BigInt(rate.num), den * BigInt(rate.den)));

interface Lane {
  readonly camera: string;
  readonly items: { readonly gap: Instant; readonly clip: DayClip }[];
  end: Instant;
}

/** A track for each camera; two clips of one camera that overlap, which only clocks that were set can bring about, lie on two. */
function takeStack(group: PlacedClip[]): Json {
  const [first] = group;
  if (first === undefined) throw new RangeError('nothing ran together');
  const lanes: Lane[] = [];
  for (const { clip, start, end } of group) {
    const camera = cameraOfClip(clip);
    let lane = lanes.find((one) => one.camera === camera && !before(start, one.end));
    if (lane === undefined) {
      lane = { camera, items: [], end: first.start };
      lanes.push(lane);
    }
    lane.items.push({ gap: minus(start, lane.end), clip });
    lane.end = end;
  }
  return stack(
    { name: printable(first.clip.name), metadata: { clips: group.map(({ clip }) => clip.name) } },
    lanes.map((lane) => track({ name: printable(lane.camera) }, 'Video', laneItems(lane))),
  );
}

function laneItems({ items }: Lane): Json[] {
  return items.flatMap(({ gap: wait, clip }) => {
    const rate = cutOf(clip)?.rate ?? clip.recorded?.rate;
    const frames = rate === undefined ? 0 : framesIn(wait, rate);
    return [...(rate === undefined || frames === 0 ? [] : [gap(frames, rate)]), otioClip(clip, true)];
  });
}
