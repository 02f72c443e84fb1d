import { BaseSequencer, type TestSpecification } from 'vitest/node';
import { defineConfig } from 'vitest/config';

/** Short files with minutes of work, most of which is waiting: begun last, one of them would run alone at the end. */
const LONG = ['/test/night/', '/test/campaign/'];

class LongFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const others = await super.sort(files);
    const isLong = ({ moduleId }: TestSpecification): boolean => LONG.some((part) => moduleId.includes(part));
    return [...others.filter(isLong), ...others.filter((file) => !isLong(file))];
  }
}

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts'],
    exclude: ['test/bench/**', 'node_modules/**', 'dist/**'],
    globalSetup: ['test/support/global-setup.ts'],
    setupFiles: ['test/support/properties.ts'],
    // Real encoders: a hang is caught by the tool under test or, last, by this.
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // A third file at a time gains nothing on two cores (measured), and makes what is timed less sure.
    maxWorkers: 2,
    sequence: { sequencer: LongFirst },
  },
});
