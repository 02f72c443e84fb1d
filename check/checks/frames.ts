import { framesOfEach } from '../cadence.ts';
import { shownAt, shownByLists } from '../grid.ts';
import { type Check, compare, type Line } from '../check.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../../profiles/outcome.ts';

/** By the clip: its frames, each once; or of a clip without a constant rate the one that is shown at each instant of the grid. */
function byClip(found: number, { video }: ClipFacts, { cadence, rate }: Outcome): Line[] {
  if (cadence.constant === null)
    return [
      [
        `of the source's ${cadence.split === null ? 'frames' : 'fields'}`,
        found,
        framesOfEach(cadence) * video.frames,
      ],
    ];
  const shown = shownAt(video, rate);
  const listed = shownByLists(video.frames, cadence.constant);
  const wrong = shown === null ? null : shown.findIndex((frame, instant) => listed[instant] !== frame);
  return [
    ["of the source's grid", found, shown?.length ?? null],
    [
      'first instant that shows another frame than the clip',
      wrong === -1 && listed.length === shown?.length ? 'none' : String(wrong),
      'none',
    ],
  ];
}

/** Packets of the output, counted, against packets of the source, counted, and against the plan; the header's claim must agree. */
export const frames: Check = {
  name: 'frames',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome, source }) => {
    if (facts === null) return null;
    return compare('frame-count-differs', [
      ['frames', facts.video.frames, outcome.frames],
      ...(facts.video.claimedFrames === null
        ? []
        : ([['frames by the header', facts.video.claimedFrames, outcome.frames]] as const)),
      ...(source === null ? [] : byClip(facts.video.frames, source, outcome)),
    ]);
  },
};
