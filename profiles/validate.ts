/** A profile file's values against the schema: every departure as a finding with file, line and field. */
import type { z } from 'zod';
import type { Finding } from '../findings/finding.ts';
import { findingAt, type Path, type ProfileDocument } from './document.ts';
import type { Extended } from './extend.ts';
import { allowedAt, fieldsOf, namesBelow, placePath } from './fields.ts';
import { impossibleCombinations } from './rules.ts';
import { impossibleMaster } from './master/rules.ts';
import { type AnyProfile, anyProfileSchema, isMaster, profileKinds } from './schema.ts';

type Issue = z.core.$ZodIssue;

/** For people: short, whatever was written. */
function shown(value: unknown): string {
  const text = JSON.stringify(value) ?? String(value);
  return text.length > 80 ? `${text.slice(0, 79)}…` : text;
}

function valueAt(values: unknown, path: Path): { there: boolean; value: unknown } {
  let at = values;
  for (const part of path) {
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, part))
      return { there: false, value: undefined };
    at = (at as Record<string | number, unknown>)[part];
  }
  return { there: true, value: at };
}

function fromIssue(issue: Issue, extended: Extended): Finding[] {
  const path = issue.path as Path;
  const codec = valueAt(extended.values, ['video', 'codec']).value;
  const table = fieldsOf(extended.values);
  const at = (where: Path): { origin: string; line: number; field: string } => ({
    ...extended.placeOf(where),
    field: placePath(where),
  });
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) =>
      findingAt(
        'profile-field-unknown',
        at([...path, key]),
        'no such field',
        `one of: ${namesBelow(path, codec, table).join(', ')}${path.length === 0 ? ', extends' : ''}`,
      ),
    );
  }
  const { there, value } = valueAt(extended.values, path);
  const expected = allowedAt(path, codec, table) ?? issue.message;
  return [
    there
      ? findingAt('profile-value-wrong', at(path), shown(value), expected)
      : findingAt('profile-field-missing', at(path), 'not stated', expected),
  ];
}

/**
 * Where the top file has its part in a combination: the field itself, the group around it, or `extends`. What it builds
 * on may stand by itself; it is this file that makes it impossible.
 */
function placeInTop(top: ProfileDocument, path: Path): { origin: string; line: number } {
  for (let length = path.length; length > 0; length -= 1) {
    const part = path.slice(0, length);
    if (valueAt(top.values, part).there) return { origin: top.origin, line: top.lineOf(part) };
  }
  return { origin: top.origin, line: top.lineOf(['extends']) };
}

export function validate(
  top: ProfileDocument,
  extended: Extended,
): { profile: AnyProfile } | { findings: Finding[] } {
  const own: Finding[] = [];
  for (const field of ['version', 'name'] as const) {
    // Taken over, a name would give two different profiles one folder, and a version would change unseen.
    if (!Object.hasOwn(top.values, field))
      own.push(
        findingAt(
          'profile-field-missing',
          { origin: top.origin, line: 1, field },
          'not stated in this file',
          allowedAt([field]) ?? '',
        ),
      );
  }
  if (own.length > 0) return { findings: own };
  const { there, value: kind } = valueAt(extended.values, ['kind']);
  // Which other fields there are depends on it: without it nothing else can be judged.
  if (!profileKinds.some((known) => known === kind))
    return {
      findings: [
        findingAt(
          there ? 'profile-value-wrong' : 'profile-field-missing',
          { ...extended.placeOf(['kind']), field: 'kind' },
          there ? shown(kind) : 'not stated',
          profileKinds.join(', '),
        ),
      ],
    };
  const parsed = anyProfileSchema.safeParse(extended.values);
  if (!parsed.success)
    return { findings: parsed.error.issues.flatMap((issue) => fromIssue(issue, extended)) };
  const profile: AnyProfile = parsed.data;
  const findings = (isMaster(profile) ? impossibleMaster(profile) : impossibleCombinations(profile)).map(
    ({ code, path, found, expected }) =>
      findingAt(code, { ...placeInTop(top, path), field: placePath(path) }, found, expected),
  );
  if (profile.name !== top.stem)
    findings.unshift(
      findingAt(
        'profile-value-wrong',
        { ...extended.placeOf(['name']), field: 'name' },
        shown(profile.name),
        `${top.stem}, as the file is called`,
      ),
    );
  return findings.length > 0 ? { findings } : { profile };
}
