/** Mornings to look at: days as models of days, in every state that a page can be in. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Day, DayClip, DayRoll } from '../../handover/day.ts';
import { pageLayout } from '../../handover/layout.ts';
import { type Morning, type PagePicture, pictureKey } from '../../handover/page/morning.ts';
import { jpegOf } from '../../handover/picture/jpeg.ts';
import type { Picture } from '../../handover/picture/picture.ts';
import { clipFacts, clipNamed } from './facts.ts';
import { modelRoll } from './day-model.ts';

/** A picture with detail, so that it takes as many bytes as one from a camera would: a gradient with a draw of noise over it. */
export function pictureWithDetail(width: number, height: number, seed: number): Picture {
  const samples = new Uint8Array(3 * width * height);
  let state = seed + 1;
  for (let at = 0; at < samples.length; at += 3) {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    const [x, y] = [(at / 3) % width, Math.floor(at / 3 / width)];
    const noise = (state >>> 27) - 16;
    samples[at] = Math.max(0, Math.min(255, 60 + (120 * x) / width + noise));
    samples[at + 1] = Math.max(0, Math.min(255, 40 + (100 * y) / height + noise));
    samples[at + 2] = Math.max(0, Math.min(255, 30 + (60 * (x + y)) / (width + height) + noise));
  }
  return { width, height, samples };
}

export const pagePicture = (seed: number, timecode: string | null = '10:00:00:12'): PagePicture => ({
  base64: jpegOf(pictureWithDetail(320, 180, seed), 78).toString('base64'),
  width: 320,
  height: 180,
  timecode,
});

export const copyOf = (folder: string, verified = true): DayRoll['copiesRead'][number] => ({
  folder,
  files: 2,
  bytes: 64_000_000_000,
  verified,
});

export async function readyRoll(roll: string, clips: readonly string[]): Promise<DayRoll> {
  const made = await modelRoll(
    roll,
    clips.map((name) => ({ clip: clipNamed(name), facts: clipFacts(), profiles: ['editorial-vc3'] })),
  );
  return {
    ...made,
    copies: 2,
    copiesRead: [copyOf(`/volumes/raid/day-07/${roll}`), copyOf(`/volumes/backup-1/day-07/${roll}`)],
    manifests: [{ file: `/volumes/raid/day-07/${roll}/ascmhl`, kind: 'asc-mhl', files: clips.length }],
    profiles: [{ name: 'editorial-vc3', hash: '55'.repeat(32) }],
  };
}

export const checksumDiffers = (roll: string): Finding =>
  finding(
    'file-checksum-differs',
    'xxh128 489928abb4eedf716f955189bf9a89ca',
    'xxh128 dea1236233504f9e285f1255e0c76a4c',
    {
      roll,
      copy: `/volumes/backup-1/day-07/${roll}`,
      file: `${roll}C001.mov`,
    },
  );

export const heldRoll = (base: DayRoll, findings: readonly Finding[]): DayRoll => ({
  ...base,
  verdict: 'held',
  findings,
  clips: base.clips.map((clip): DayClip => ({ ...clip, verdict: 'held' })),
});

export const dayOf = (rolls: readonly DayRoll[], timeZone: string | null = 'Europe/Berlin'): Day => ({
  day: 'day-07',
  timeZone,
  rolls,
});

export const ENDED: Morning['state'] = {
  kind: 'ended',
  began: '2026-11-30T21:12:00.000Z',
  ended: '2026-12-01T04:05:00.000Z',
};

/** Every clip with a picture. */
export function morningOf(day: Day, over: Partial<Morning> = {}): Morning {
  const pictures = day.rolls.flatMap(({ roll, clips }) =>
    clips.map((clip, index): [string, PagePicture] => [pictureKey(roll, clip.id), pagePicture(index)]),
  );
  return {
    day,
    state: ENDED,
    unrecorded: [],
    findings: [],
    pictures: new Map(pictures),
    withoutPictures: null,
    sheets: new Map(day.rolls.map(({ roll }) => [roll, [pageLayout.sheet(roll, 1)]])),
    differences: { before: 'day-06', differences: [] },
    ...over,
  };
}

/** Names that a camera, or somebody who means harm, can write. */
export const HOSTILE = [
  '<script>document.title="taken"</script>',
  '"><img src=x onerror=document.title=1>',
  "' onmouseover='document.title=2",
  '</title></style><h1>Everything is ready</h1>',
  '&lt;b&gt; &amp; &#x3c;',
  '=HYPERLINK("http://example.invalid";"x")',
  '\u202egpj.yadnoM\u2066',
  'مسبك الأجراس ٣',
  `half \ud83d and \udc80 of a pair`,
  'line\nbreak\ttab\u2028separator\u0000null',
  'A'.repeat(400),
  'a\u0301'.repeat(60),
  '🔔'.repeat(40),
] as const;
