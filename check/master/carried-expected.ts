/** What a frame must say of camera, lens and exposure, by the outcome alone. */
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { type Carried, carriedText, numberText } from './carried.ts';
import { hasMeaning } from './exr/aces.ts';

export const carriedNames = ({ carried, format }: MasterOutcome): Carried[] =>
  carried.map(({ name, type }) => ({ name, type, isLine: format === 'aces' && !hasMeaning(name) }));

function valueText(type: string, value: number | string | readonly (number | string)[]): string {
  if (type === 'float' && value === 'infinity') return 'Infinity';
  if (type === 'rational' && Array.isArray(value)) return value.join('/');
  if (type === 'string' || type === 'stringvector') return JSON.stringify(value);
  return [value]
    .flat()
    .map((one) => numberText(type, Number(one)))
    .join(' ');
}

/** `index`: of the frame, from 0; what is carried is counted in the whole clip. */
export function carriedOf({ carried, stretch }: MasterOutcome, index: number): string {
  const inClip = stretch === null ? index : stretch.start + index;
  const lines: string[] = [];
  for (const { name, type, values } of carried) {
    // The last one that begins at this frame or before it.
    const here = values.filter(({ frame }) => frame <= inClip).at(-1)?.value ?? null;
    if (here !== null) lines.push(`${name} ${type} ${valueText(type, here)}`);
  }
  return carriedText(lines);
}
