import { availableParallelism } from 'node:os';
import { BaseSequencer, type TestSpecification } from 'vitest/node';
import { defineConfig } from 'vitest/config';

/** Short files with minutes of work, most of which is waiting: begun last, one of them would run alone at the end. */
const LONG = ['/test/night/', '/test/faults/'];

class LongFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const others = await super.sort(files);
    const isLong = ({ moduleId }: TestSpecification): boolean => LONG.some((part) => moduleId.includes(part));
    return [...others.filter(isLong), ...others.filter((file) => !isLong(file))];
  }
}

/** `*.long.test.ts` is for `npm run test:all` alone: setup/test-all.mjs sets this. (`tables`: test/support/lane.ts.) */
const longLane = process.env.RUSHLIGHT_TEST_LANE === 'long';
const longFiles = 'test/**/*.long.test.ts';

export default defineConfig({
  test: {
    include: longLane ? [longFiles] : ['test/**/*.test.ts'],
    exclude: ['test/bench/**', 'node_modules/**', 'dist/**', 'dist-*/**', ...(longLane ? [] : [longFiles])],
    globalSetup: ['test/support/global-setup.ts'],
    setupFiles: ['test/support/properties.ts', 'test/support/cost.ts'],
    // Real encoders: a hang is caught by the tool under test or, last, by this.
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // What is polled for comes within milliseconds on an idle machine, within seconds on one that others keep busy.
    expect: { poll: { timeout: 15_000 } },
    // Files share a worker and what it has loaded: loading all of it again for each would take longer than most of them run.
    // Whatever a test changes for the whole process (environment, clock) it puts back.
    isolate: false,
    // Two at least: much of the time a test waits for a program.
    maxWorkers: Math.max(2, availableParallelism()),
    sequence: { sequencer: LongFirst },
  },
});
