/** One frame that is not its own, in clips of which little moves: where drawn tiles lie in parts that are the same in both frames. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type FormName, makeClip, type PictureName } from '../campaign/material.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { jobFor } from '../support/work.ts';

const material = join(sharedFolder, 'campaign');
const fitted = 'test/campaign/profiles/fitted-vc3.yaml';

/** Behind the scaler. */
const behind = (filters: string) => ({ from: ',setsar=1,', to: `,setsar=1,${filters},` });
/** Counted from 1 by `blend`. Of frame 9 a part of the one before: every sample of both is there once more, a frame late. */
const mixed = (part: number) =>
  behind(
    `split[placing-a][placing-b];[placing-b]tpad=start=1:start_mode=clone[placing-c];[placing-a][placing-c]blend=shortest=1:all_expr='if(eq(N\\,10)\\,${1 - part}*A+${part}*B\\,A)'`,
  );
const ordered = (map: (frame: number) => number, frames: number) =>
  behind(`shuffleframes=${Array.from({ length: frames }, (_, frame) => map(frame)).join(' ')}`);
/** Of frame 9 the deinterlacer shows the later field. */
const otherField = {
  from: 'bwdif=mode=send_frame:parity=tff:deint=all',
  to: "split[placing-a][placing-b];[placing-a]bwdif=mode=send_frame:parity=tff:deint=all[placing-c];[placing-b]bwdif=mode=send_frame:parity=bff:deint=all[placing-d];[placing-c][placing-d]blend=shortest=1:all_expr='if(eq(N\\,10)\\,B\\,A)'",
};

interface Fault {
  readonly what: string;
  readonly picture: PictureName;
  readonly form: FormName;
  readonly profile: string;
  readonly from: string;
  readonly to: string;
}

/** Of `small-motion` a square moves that is a 225th of the picture of `film`, and a 3600th of that of `large`. */
const faults: readonly Fault[] = [
  {
    what: 'the later field',
    picture: 'small-motion',
    form: 'fields-top',
    profile: 'test/campaign/profiles/full-vc3.yaml',
    ...otherField,
  },
  {
    what: 'one from elsewhere',
    picture: 'small-motion',
    form: 'film',
    profile: fitted,
    ...ordered((frame) => (frame === 9 ? 20 : frame), 48),
  },
  {
    what: 'one frozen in slow motion',
    picture: 'slow-zoom',
    form: 'film',
    profile: fitted,
    ...ordered((frame) => (frame === 9 ? 8 : frame), 48),
  },
  ...further<Fault>(
    { what: 'a 75/25 mix', picture: 'small-motion', form: 'large', profile: 'editorial-vc3', ...mixed(0.25) },
    { what: 'a 50/50 mix', picture: 'small-motion', form: 'film', profile: fitted, ...mixed(0.5) },
    { what: 'a 75/25 mix', picture: 'slow-zoom', form: 'large', profile: 'editorial-vc3', ...mixed(0.25) },
    {
      what: 'one frozen, through another matrix',
      picture: 'slow-zoom',
      form: 'drop-frame-30',
      profile: 'editorial-vc3',
      ...ordered((frame) => (frame === 9 ? 8 : frame), 45),
    },
  ),
];

describe('one frame is held by its means', () => {
  test.each(faults)('$what: $picture as $form in $profile', async ({ picture, form, profile, from, to }) => {
    const { verdict, done, reported } = await runCase(
      await jobFor(await makeClip(material, { picture, form, take: 0 }), join(sharedFolder, 'placing-jobs'), [
        profile,
      ]),
      { do: 'graph', stage: 'encoder', from, to },
      join(freshFolder('placing'), 'case'),
    );
    expect(done).toBe(true);
    expect(verdict, reported.join('; ')).toBe('held');
    const means = reported.filter((line) => line.includes('mean luma'));
    // That frame, and no other.
    expect(means.length, reported.join('; ')).toBe(1);
    expect(means[0]).toContain('frame 9: mean luma off by');
  });
});
