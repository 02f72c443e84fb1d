/** A profile for people: every field with its value and meaning. */
import { fieldsOf } from './fields.ts';
import { type AnyProfile, isMaster } from './schema.ts';

export interface DescribedField {
  /** `raster.width`, `burn_in[0].text`. */
  readonly field: string;
  /** As YAML would write it; empty for a group. */
  readonly value: string;
  readonly meaning: string;
  readonly allowed: string;
}

function valueText(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(valueText).join(', ')}]`;
  if (typeof value === 'string')
    // A colon between two characters ends no word of YAML: `4:2:2 10-bit`.
    return /^[A-Za-z0-9](?:[A-Za-z0-9 .-]|:(?=\S))*$/.test(value) ? value : JSON.stringify(value);
  return String(value);
}

/** Every field of the profile in the order of the schema, groups before their members. */
export function describeProfile(profile: AnyProfile): DescribedField[] {
  const out: DescribedField[] = [];
  const fields = fieldsOf(profile);
  const codec = isMaster(profile) ? null : profile.video.codec;
  const visit = (value: unknown, shownPath: string, schemaPath: string): void => {
    const entry = fields.find(
      (field) => field.path === schemaPath && (field.onlyWith === null || field.onlyWith === codec),
    );
    const isGroup = typeof value === 'object' && value !== null && !Array.isArray(value);
    const isGroupList = Array.isArray(value) && value.some((item) => typeof item === 'object');
    if (entry !== undefined)
      out.push({
        field: shownPath,
        value: isGroup || isGroupList ? '' : valueText(value),
        meaning: entry.meaning,
        allowed: entry.allowed,
      });
    if (isGroup)
      for (const [name, child] of Object.entries(value))
        visit(
          child,
          shownPath === '' ? name : `${shownPath}.${name}`,
          schemaPath === '' ? name : `${schemaPath}.${name}`,
        );
    if (isGroupList)
      for (const [index, item] of value.entries()) visit(item, `${shownPath}[${index}]`, `${schemaPath}[]`);
  };
  visit(profile, '', '');
  return out;
}
