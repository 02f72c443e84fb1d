/** A deliverable's file name from the profile's template, free of what file systems and shares refuse. */
import { printable } from '../../media/names.ts';

/** Room for a staging prefix, a token and an extension within the 255 bytes of a name. */
const LONGEST_BYTES = 200;

/** Reserved by Windows whatever the extension (Microsoft, "Naming Files, Paths, and Namespaces"). */
const RESERVED = /^(con|prn|aux|nul|com[1-9]|lpt[1-9])(\.|$)/i;

function shorten(text: string, bytes: number): string {
  let out = '';
  let used = 0;
  for (const character of text) {
    used += Buffer.byteLength(character);
    if (used > bytes) break;
    out += character;
  }
  return out;
}

export interface NameFields {
  readonly clip: string;
  readonly roll: string;
  readonly reel: string;
  readonly day: string;
  readonly profile: string;
  readonly timecode: string;
}

/** Without extension. `{field}` is replaced; an unknown field is refused when the profile is read. */
export function fileNameOf(template: string, fields: NameFields): string {
  const filled = template.replace(/\{([a-z]+)\}/g, (whole, field: string) => (Object.hasOwn(fields, field) ? fields[field as keyof NameFields] : whole));
  const clean = printable(filled)
    .normalize('NFC')
    // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is taken out.
    .replace(/[<>:"/\\|?*\u0000-\u001f]/g, '_')
    .replace(/^[.\s]+|[.\s]+$/g, '_');
  const safe = RESERVED.test(clean) ? `_${clean}` : clean;
  return shorten(safe === '' ? '_' : safe, LONGEST_BYTES).replace(/[.\s]+$/g, '_');
}
