/** The configuration of an H.265 track, its sequence parameter set, and what lies in its samples, against what was decided. Pure. */
import { sitings } from '../../media/colour/siting.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Fault } from '../container-verdict.ts';
import { differs } from './differs.ts';
import { pixelAspectText } from './pixel-aspect.ts';
import { codePoint } from './expected.ts';
import { MESSAGES, type Message, parameterSets, type Tier } from './h265.ts';
import { besideTags, expectedMessages, messagesText } from './light.ts';
import { isRoomy, reordered } from './order.ts';
import type { MovieTrack } from './read.ts';

const tierText = ({ space, high, profile, compatible, constraints, level }: Tier): string =>
  [space, high ? 'high' : 'main', profile, compatible.toString(16), constraints, level].join(' ');

/** Table A.2 of H.265, 7.3.3: Main 10 is number 2, and says that its decoders are those of no other; whole progressive frames. */
const MAIN_10 = 2;
const PROGRESSIVE_FRAMES = '900000000000';
const COMPATIBLE = 2 ** (31 - MAIN_10);

/** The configuration of H.265 and its sequence parameter set (ITU-T H.265, A.3.3: Main 10; A.4). */
export function* judgeHevc({
  track,
  outcome,
}: {
  readonly track: MovieTrack | null;
  readonly outcome: Outcome;
}): Generator<Fault> {
  if (outcome.codec !== 'h265' || track === null || track.hevc === null) return;
  const { hevc } = track;
  const { sequence, box, tier } = hevc;
  const { colour, rate } = outcome;
  const siting = outcome.chromaSiting === null ? 0 : sitings.indexOf(outcome.chromaSiting);
  const transfer = codePoint('transfer', colour.transfer);
  const expected = expectedMessages(outcome, hevc.messages);
  const arrays = [...parameterSets, ...expected.map(() => MESSAGES)];
  const lines: readonly (readonly [what: string, found: number | string, expected: number | string])[] = [
    ['version', hevc.version, 1],
    ['profile', tier.space === 0 ? tier.profile : `${tier.profile} of space ${tier.space}`, MAIN_10],
    ['decoders', tier.compatible.toString(16), COMPATIBLE.toString(16)],
    ['frames', tier.constraints, PROGRESSIVE_FRAMES],
    ['tier', tier.high ? 'high' : 'main', 'main'],
    [
      'level',
      outcome.maxLevel !== null && tier.level > outcome.maxLevel ? tier.level : 'in its bounds',
      'in its bounds',
    ],
    ['chroma of the record', hevc.chromaFormat, 1],
    ['bits of the record', hevc.bits.join(' and '), '10 and 10'],
    ['average rate', hevc.averageRate, 0],
    ['layers', hevc.layers, 1],
    ['bytes of a length', hevc.lengthBytes, 4],
    [
      'units',
      hevc.arrays
        .flatMap(({ type, units, complete }) =>
          Array.from(
            { length: units },
            () =>
              `${type}${complete === parameterSets.includes(type) ? '' : complete ? ' alone' : ' and more'}`,
          ),
        )
        .join(', '),
      arrays.join(', '),
    ],
    ['record', hevc.exact ? 'whole' : 'with other bits, or bytes behind it', 'whole'],
    ['messages', messagesText(besideTags(hevc.messages, transfer)), messagesText(expected)],
    ['profile and level of the stream', tierText(sequence.tier), tierText(tier)],
    ['chroma', sequence.chromaFormat, 1],
    ['bits', sequence.bits.join(' and '), '10 and 10'],
    ['size in the stream', `${sequence.width}x${sequence.height}`, `${outcome.width}x${outcome.height}`],
    ['pictures', sequence.fields ? 'fields' : 'whole frames', 'whole frames'],
    ['pixel aspect in the stream', pixelAspectText(sequence.pixelAspect, outcome.pixelAspect), 'as decided'],
    ['range in the stream', (sequence.fullRange ?? false) ? 'full' : 'limited', colour.range ?? 'limited'],
    [
      'colours in the stream',
      (sequence.colours ?? [2, 2, 2]).join(', '),
      [
        codePoint('primaries', colour.primaries),
        codePoint('transfer', colour.transfer),
        codePoint('matrix', colour.matrix),
      ].join(', '),
    ],
    ['places of chroma', (sequence.chromaPlaces ?? [0, 0]).join(' and '), `${siting} and ${siting}`],
    [
      'pictures out of order in the stream',
      isRoomy(sequence.reordering, reordered(track.samples))
        ? 'as many as there are'
        : sequence.reordering.join(' of '),
      'as many as there are',
    ],
    // E.3.1: ticks of a picture.
    [
      'rate in the stream',
      sequence.timing === null ||
      BigInt(sequence.timing[0]) * BigInt(rate.num) === BigInt(sequence.timing[1]) * BigInt(rate.den)
        ? 'as decided'
        : `${sequence.timing[1]}/${sequence.timing[0]}`,
      'as decided',
    ],
  ];
  for (const [what, found, wanted] of lines)
    if (found !== wanted) yield differs({ path: box.path, at: box.at }, what, String(found), String(wanted));
  yield* judgeUnits(track, expected, transfer);
}

/** What lies in the samples: slices, before those that begin afresh the messages of the record, and nothing else. */
function* judgeUnits(
  { pictures, box }: MovieTrack,
  expected: readonly Message[],
  transfer: number,
): Generator<Fault> {
  for (const [number, { refresh, messages, others }] of (pictures ?? []).entries()) {
    const wanted = messagesText(refresh === true ? expected : []);
    const found = [
      messagesText(refresh === true ? besideTags(messages, transfer) : messages),
      ...others.map((type) => (type < 0 ? 'a unit that ends elsewhere' : `a unit of type ${type}`)),
    ].join(', ');
    if (found === wanted) continue;
    yield differs({ path: box.path, at: box.at }, `picture ${number + 1}: messages`, found, wanted);
    return;
  }
}
