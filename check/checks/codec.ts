import { bitDepthOf } from '../../media/probe/picture.ts';
import { isRgb } from '../../media/pixel-format.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { ContentLight } from '../../proof/light/form.ts';
import { statedLight } from '../movie/light.ts';
import { type Check, compare, type Line } from '../check.ts';
import type { Measured, MeasuredMatroska } from '../measured.ts';

/** QuickTime's brand is `qt`; every other major brand is one of the MP4 family (ISO/IEC 14496-12, annex on brands). */
function wrapperOf(brand: string): string {
  return brand === 'qt' ? 'mov' : 'mp4';
}

/** RFC 9043, 4.2.2: the first micro-version of version 3 that stands; later ones are read by the same decoders. */
const STABLE = 4;

/** Nanoseconds of a frame, cut or rounded to whole ones: writers do either. */
function isStep(nanoseconds: number | null, { num, den }: Outcome['rate']): boolean {
  if (nanoseconds === null) return false;
  const away = BigInt(nanoseconds) * BigInt(num) - 1_000_000_000n * BigInt(den);
  return away < BigInt(num) && -away < BigInt(num);
}

function matroskaLines({ file, configuration: stream, frame }: MeasuredMatroska, outcome: Outcome): Line[] {
  const pictures = file.tracks.filter(({ type }) => type === 1);
  const [picture] = pictures;
  const { version, microVersion } = stream;
  return [
    ['wrapper', file.docType, 'matroska'],
    ['picture tracks', pictures.length, 1],
    ['audio tracks', file.tracks.filter(({ type }) => type === 2).length, outcome.audio.length],
    ['blocks of the picture', picture?.times.length ?? 0, outcome.frames],
    [
      'length of a frame',
      isStep(picture?.defaultDuration ?? null, outcome.rate)
        ? 'as the rate has it'
        : `${picture?.defaultDuration ?? 'no'} ns`,
      'as the rate has it',
    ],
    [
      'FFV1',
      version === 3 && microVersion >= STABLE ? 'version 3, stable' : `version ${version}.${microVersion}`,
      'version 3, stable',
    ],
    ['every frame', stream.intra && frame.key ? 'a key frame' : 'not a key frame', 'a key frame'],
    ['slices of the stream', stream.slices[0] * stream.slices[1], outcome.exact?.slices ?? null],
    ['slices of a frame', frame.slices, outcome.exact?.slices ?? null],
    ['every slice', stream.sliceChecksums ? 'with a checksum' : 'without a checksum', 'with a checksum'],
    [
      'samples',
      `${stream.bits} bits of ${stream.colours}`,
      `${bitDepthOf(outcome.pixelFormat, undefined)} bits of ${isRgb(outcome.pixelFormat) ? 'rgb' : 'ycbcr'}`,
    ],
  ];
}

function wrapperLines({ movie, matroska }: Measured, outcome: Outcome): Line[] | null {
  if (matroska !== null) return matroskaLines(matroska, outcome);
  return movie === null ? null : [['wrapper', wrapperOf(movie.brand), outcome.container]];
}

/** What the stream says of its light, against what was measured; without that it differs. */
function lightLines({ movie }: Measured, outcome: Outcome, measured: ContentLight | null): Line[] {
  if (outcome.contentLight === null) return [];
  const said = statedLight(movie);
  const nobody = 'what nobody measured';
  return [
    ['MaxCLL', said?.greatest ?? null, measured?.greatest ?? nobody],
    ['MaxFALL', said?.average ?? null, measured?.average ?? nobody],
  ];
}

/** Wrapper, codec, tag and profile; a level that players of the profile can take; packets of the size that the codec fixes. */
export const codec: Check = {
  name: 'codec',
  rests: ['packets', 'index'],
  run: ({ measured, outcome, contentLight }) => {
    const { facts } = measured;
    const wrapper = wrapperLines(measured, outcome);
    if (facts === null || wrapper === null) return null;
    const { video } = facts;
    const level: Line[] =
      outcome.maxLevel === null
        ? []
        : [
            [
              'level',
              video.level !== null && video.level <= outcome.maxLevel
                ? `up to ${outcome.maxLevel}`
                : video.level,
              `up to ${outcome.maxLevel}`,
            ],
          ];
    const packets: Line[] =
      outcome.packetBytes === null
        ? []
        : [
            ['smallest packet', video.smallestPacket, outcome.packetBytes],
            ['largest packet', video.largestPacket, outcome.packetBytes],
          ];
    return compare('codec-differs', [
      ...wrapper,
      ['codec', video.codec, outcome.codec],
      // Of Matroska the track's own codec was read.
      ...(outcome.container === 'mkv' ? [] : ([['tag', video.codecTag, outcome.codecTag]] as const)),
      ['profile', video.profile, outcome.codecProfile],
      ...level,
      ...packets,
      ...lightLines(measured, outcome, contentLight),
    ]);
  },
};
