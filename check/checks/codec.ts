import { type Check, compare, type Line } from '../check.ts';

/** QuickTime's brand is `qt`; every other major brand is one of the MP4 family (ISO/IEC 14496-12, annex on brands). */
function wrapperOf(brand: string): string {
  return brand === 'qt' ? 'mov' : 'mp4';
}

/** Wrapper, codec, tag and profile; a level that players of the profile can take; packets of the size that the codec fixes. */
export const codec: Check = {
  name: 'codec',
  rests: ['packets', 'atoms'],
  run: ({ measured: { facts, atoms }, outcome }) => {
    if (facts === null || atoms === null) return null;
    const { video } = facts;
    const level: Line[] = outcome.maxLevel === null ? [] : [['level', video.level !== null && video.level <= outcome.maxLevel ? `up to ${outcome.maxLevel}` : video.level, `up to ${outcome.maxLevel}`]];
    const packets: Line[] =
      outcome.packetBytes === null
        ? []
        : [
            ['smallest packet', video.smallestPacket, outcome.packetBytes],
            ['largest packet', video.largestPacket, outcome.packetBytes],
          ];
    return compare('codec-differs', [
      ['wrapper', wrapperOf(atoms.brand), outcome.container],
      ['codec', video.codec, outcome.codec],
      ['tag', video.codecTag, outcome.codecTag],
      ['profile', video.profile, outcome.codecProfile],
      ...level,
      ...packets,
    ]);
  },
};
