/** How the tests came out, counted from the runner's own record. Pure. */

/**
 * `record`: what vitest's JSON reporter wrote, null when it wrote nothing. `status`: how the runner ended.
 * A file that could not be loaded holds no tests that could fail, and an error outside of a test fails none:
 * both are counted as a failure, and so is a run of no test at all.
 */
export function countTests(record, status) {
  if (record === null) return { passed: 0, failed: 1, skipped: 0 };
  const tests = record.testResults.flatMap((file) => file.assertionResults);
  const broken = record.testResults.filter(
    (file) => file.status === 'failed' && !file.assertionResults.some((test) => test.status === 'failed'),
  ).length;
  const passed = tests.filter((test) => test.status === 'passed').length;
  const failed = tests.filter((test) => test.status === 'failed').length + broken;
  const skipped = tests.length - passed - (failed - broken);
  const unexplained = failed === 0 && (status !== 0 || passed === 0) ? 1 : 0;
  return { passed, failed: failed + unexplained, skipped };
}

export function addCounts(all) {
  return all.reduce(
    (sum, one) => ({
      passed: sum.passed + one.passed,
      failed: sum.failed + one.failed,
      skipped: sum.skipped + one.skipped,
    }),
    { passed: 0, failed: 0, skipped: 0 },
  );
}

export function closingLine({ passed, failed, skipped }) {
  return `${passed} passed, ${failed} failed${skipped === 0 ? '' : `, ${skipped} skipped`}`;
}
