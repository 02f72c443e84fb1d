/** A profile file as written: its values, and the line of each field. */
import type { Finding } from '../findings/finding.ts';
import { type DocumentCodes, type WrittenDocument, readDocument } from '../files/document.ts';

export { type Path, findingAt } from '../files/document.ts';

/** `stem`: what the profile in it must be called. */
export type ProfileDocument = WrittenDocument;

const codes: DocumentCodes = {
  missing: 'profile-missing',
  unreadable: 'profile-unreadable',
  form: 'a profile file',
};

export async function readProfile(
  path: string,
  origin = path,
): Promise<{ document: ProfileDocument } | { findings: Finding[] }> {
  return await readDocument(path, codes, origin);
}
