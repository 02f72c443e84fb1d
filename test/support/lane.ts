/** Rows of tables that `npm test` leaves to the long lane (`npm run test:all -- --part tables`). */

/** The long lane runs every row of every table. */
export const everyRow = process.env.RUSHLIGHT_TEST_LANE === 'tables';

/** Rows of the long lane alone: each proves once more what a row that stands in the same table, outside of this, proves in `npm test`. */
export function further<const Row>(...rows: readonly Row[]): readonly Row[] {
  return everyRow ? rows : [];
}
