/** What the gate asks of a roll as a whole: copies proved, manifests read, every file accounted for, something asked for. Pure. */
import { append } from '../../findings/append.ts';
import { tallied } from '../../findings/tally.ts';
import { type Finding, finding, blocks } from '../../findings/finding.ts';
import { type ClipPlace, filesOfPlace } from '../../ledger/clip.ts';
import { isVerified } from '../../ledger/roll.ts';
import type { GateInput, GateIntake } from './input.ts';
import { placesOf, unaccountedFiles } from './file-accounting.ts';

/** Every copy was read whole and equals the manifest, and intake itself found nothing that holds. */
export function judgeIntake(input: GateInput): Finding[] {
  const { intake, roll } = input;
  if (intake === null)
    return [
      finding('verification-absent', 'intake did not come to an end', 'every copy read whole', { roll }),
    ];
  const found: Finding[] = [...intake.findings];
  if (intake.day !== input.day || intake.roll !== input.roll) {
    found.push(
      finding(
        'verification-absent',
        `an intake of ${intake.day}/${intake.roll}`,
        `the intake of ${input.day}/${input.roll}`,
        { roll },
      ),
    );
  }
  if (input.copiesAsked < 1 || intake.copies.length < input.copiesAsked) {
    found.push(
      finding(
        'verification-absent',
        `${intake.copies.length} copies read`,
        `${Math.max(1, input.copiesAsked)} copies read`,
        { roll },
      ),
    );
  }
  const folders = new Set<string>();
  for (const copy of intake.copies) {
    const about = { roll, copy: copy.folder };
    if (!copy.verified)
      found.push(
        finding(
          'copy-not-verified',
          `${copy.files} files, ${copy.bytes} bytes read; not equal to the manifest`,
          'every file of the manifest, equal to it',
          about,
        ),
      );
    else if (copy.files === 0)
      found.push(
        finding(
          'copy-not-verified',
          'said to be verified, with 0 files',
          'every file of the manifest, equal to it',
          about,
        ),
      );
    if (folders.has(copy.folder))
      found.push(finding('copy-same-place', 'given twice', 'a folder of its own', about));
    folders.add(copy.folder);
  }
  return [...found, ...judgeManifests(intake, roll)];
}

function judgeManifests({ manifests, findings }: GateIntake, roll: string): Finding[] {
  if (manifests.length === 0)
    return findings.some(blocks)
      ? []
      : [finding('verification-absent', 'no manifest was read', 'at least one manifest', { roll })];
  return manifests.flatMap(({ file, files, digests = [] }) => {
    if (files === 0)
      return [finding('verification-absent', 'a manifest that lists no file', 'one or more', { roll, file })];
    if (digests.length === 0 || digests.some(({ sha256 }) => sha256 === ''))
      return [
        finding('record-incomplete', 'no digest of the manifest', 'SHA-256 of its bytes as they were read', {
          roll,
          file,
        }),
      ];
    return [];
  });
}

/** There is something to prove, by tools that have a name, and nothing of the roll was left out of it. */
export function judgeRecord(input: GateInput): Finding[] {
  const { roll, intake, clips, recordings, profiles, toolchain } = input;
  const isEmpty = clips.length === 0 && recordings.length === 0;
  const found: Finding[] = [];
  if (profiles.length === 0 && recordings.length === 0)
    found.push(finding('profiles-absent', '0 profiles', 'at least one', { roll }));
  for (const name of twice(profiles.map((loaded) => loaded.profile.name)))
    found.push(
      finding('record-contradictory', 'a profile listed twice', 'every profile once', {
        roll,
        profile: name,
      }),
    );
  if (
    toolchain.digest === '' ||
    toolchain.tools.length === 0 ||
    toolchain.tools.some((tool) => tool.name === '' || tool.version === '' || tool.build === '')
  ) {
    found.push(
      finding(
        'record-incomplete',
        'a toolchain without tools, versions or fingerprints',
        'every tool with its version and build, and the fingerprint of all',
        { roll },
      ),
    );
  }
  // A roll that failed intake is not surveyed; its empty list of clips says nothing of its own.
  if (isEmpty && intake !== null && isVerified(intake) && !input.findings.some(blocks))
    found.push(finding('roll-empty', '0 clips', 'at least one clip, or a recording of sound', { roll }));
  for (const id of twice(clips.map((entry) => entry.clip.id)))
    found.push(finding('clip-twice', `two clips are called ${id}`, 'every clip once', { roll, clip: id }));
  if (!isEmpty && intake !== null) append(found, judgeFiles(intake, input));
  return found;
}

/** Every file of the roll is part of one clip or listed as another file: by name where the names are known, by number in any case. */
function judgeFiles(intake: GateIntake, { roll, clips, unused = [], otherFiles }: GateInput): Finding[] {
  const places = [...clips.map((entry) => entry.clip), ...unused];
  const nameless = intake.files === null ? [] : unaccountedFiles(intake.files, places, otherFiles);
  if (nameless.length > 0)
    return tallied(
      nameless.map((path) =>
        finding(
          'file-unaccounted',
          'neither part of a clip nor listed as another file',
          'every file of the roll in one of the two',
          { roll, file: path },
        ),
      ),
    );
  const [working] = intake.copies;
  const reported = placesOf(places).reduce((sum, place) => sum + filesOf(place), 0) + otherFiles.length;
  return working === undefined || !working.verified || working.files === reported
    ? []
    : [
        finding(
          'file-unaccounted',
          `${reported} files, as parts of clips and as others`,
          `${working.files} files, as many as the roll holds`,
          { roll },
        ),
      ];
}

function filesOf(place: ClipPlace): number {
  return place.kind === 'sequence'
    ? place.count + (place.sound === undefined ? 0 : 1)
    : filesOfPlace(place).length;
}

/** Every name that stands there more than once. */
function twice(names: readonly string[]): string[] {
  return [...new Set(names.filter((name, index) => names.indexOf(name) !== index))];
}
