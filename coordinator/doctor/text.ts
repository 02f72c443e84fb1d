/** What doctor says, for people: aligned columns, and under whatever differs its remedy. Pure. */
import { printable } from '../../files/names.ts';
import { type DoctorLine, isFit } from './judge.ts';

const marks = { good: 'good   ', note: 'note   ', lacking: 'LACKING' } as const satisfies Record<
  DoctorLine['state'],
  string
>;

export function doctorText(lines: readonly DoctorLine[]): string {
  const width = Math.max(...lines.map((line) => line.what.length));
  const indent = ' '.repeat(marks.good.length + 2);
  const reported = lines.map((line) => {
    const head = `${marks[line.state]}  ${line.what.padEnd(width)}  `;
    if (line.state === 'good') return `${head}${printable(line.found)}`;
    return [
      `${head}found     ${printable(line.found)}`,
      `${indent}${' '.repeat(width)}  expected  ${printable(line.expected)}`,
      `${indent}${' '.repeat(width)}  remedy    ${line.remedy ?? ''}`,
    ].join('\n');
  });
  const lacking = lines.filter((line) => line.state === 'lacking').length;
  const end = isFit(lines)
    ? 'This machine has what a run needs.'
    : `This machine lacks ${lacking === 1 ? 'one thing' : `${lacking} things`} that a run needs.`;
  return `${reported.join('\n')}\n\n${end}\n`;
}
