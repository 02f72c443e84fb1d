import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts'],
    exclude: ['test/bench/**', 'node_modules/**', 'dist/**'],
    globalSetup: ['test/support/global-setup.ts'],
    setupFiles: ['test/support/properties.ts'],
    // Real encoders: a hang is caught by the tool under test or, last, by this.
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // A third file runs while others wait for slow programs and for silence.
    maxWorkers: 3,
  },
});
