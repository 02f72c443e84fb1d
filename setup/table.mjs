/** Rows of text in aligned columns. Pure. */
export function table(heads, rows) {
  const widths = heads.map((head, column) =>
    Math.max(head.length, ...rows.map((row) => String(row[column]).length)),
  );
  const line = (cells) =>
    cells
      .map((cell, column) => String(cell).padEnd(widths[column]))
      .join('  ')
      .trimEnd();
  return [line(heads), line(widths.map((width) => '-'.repeat(width))), ...rows.map(line)].join('\n');
}
