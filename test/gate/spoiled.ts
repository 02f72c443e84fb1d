/** Every way for a roll to be incomplete or wrong, and the code that says so. */
import { decideRoll } from '../../coordinator/gate/decide.ts';
import type { GateClip, Remeasured } from '../../coordinator/gate/input.ts';
import { finding } from '../../findings/finding.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import type { CheckResult, DeliverableReport } from '../../ledger/report.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { allChecks, clip, due, facts, loaded, type World } from '../support/world.ts';

export function codes(world: World): string[] {
  return [...new Set(decideRoll(world.input).verdict.findings.map((item) => item.code))].sort();
}

export const intake = (world: World): IntakeResult => world.input.intake as IntakeResult;
export const entry = (world: World, key: string) =>
  world.disk.get(key) as NonNullable<ReturnType<World['disk']['get']>>;

/** Every way to be incomplete or wrong, and the code that says so. */
export const spoiled: [what: string, codes: string | readonly string[], spoil: (world: World) => void][] = [
  ['intake did not come to an end', 'verification-absent', (world) => void (world.input.intake = null)],
  [
    'intake read fewer copies than were asked for',
    'verification-absent',
    (world) => void (world.input.copiesAsked = 3),
  ],
  ['intake read no copy at all', 'verification-absent', (world) => void (intake(world).copies = [])],
  [
    'no copy was asked for and none was read',
    'verification-absent',
    (world) => {
      world.input.copiesAsked = 0;
      intake(world).copies = [];
    },
  ],
  [
    'intake read no manifest and does not say so',
    'verification-absent',
    (world) => void (intake(world).manifests = []),
  ],
  ['the intake is of another roll', 'verification-absent', (world) => void (intake(world).roll = 'B001')],
  ['the intake is of another day', 'verification-absent', (world) => void (intake(world).day = 'day-02')],
  [
    'the second copy does not hold',
    'copy-not-verified',
    (world) =>
      void (intake(world).copies[1] = { folder: '/copy/A001', files: 5, bytes: 5900, verified: false }),
  ],
  [
    "the shoot day's own copy is not verified",
    'copy-not-verified',
    (world) =>
      void (intake(world).copies[0] = { folder: '/day-03/A001', files: 4, bytes: 1, verified: false }),
  ],
  [
    'intake found something that holds',
    'manifest-unreadable',
    (world) =>
      void intake(world).findings.push(finding('manifest-unreadable', 'torn', 'whole', { roll: 'A001' })),
  ],
  [
    'a finding of a newer version, of unknown weight',
    'moon-in-shot',
    (world) => void intake(world).findings.push({ code: 'moon-in-shot', found: 'x', expected: 'y' }),
  ],
  [
    'the roll has no clip',
    'roll-empty',
    (world) => {
      world.input.clips = [];
      intake(world).files = [];
    },
  ],
  ['the night asked for no profile', 'profiles-absent', (world) => void (world.input.profiles = [])],
  [
    'a file of the roll is reported by nobody',
    'file-unaccounted',
    (world) => void intake(world).files.push({ path: 'clips/A001C003.mov', bytes: 9, hashes: {} }),
  ],
  [
    'a frame lies beyond the sequence',
    'file-unaccounted',
    (world) => void intake(world).files.push({ path: 'A001C002/f.0012.dpx', bytes: 9, hashes: {} }),
  ],
  [
    'a frame of another padding lies in the sequence',
    'file-unaccounted',
    (world) => void intake(world).files.push({ path: 'A001C002/f.00010.dpx', bytes: 9, hashes: {} }),
  ],
  [
    'two clips have one id',
    // The second one has no facts, and no report is of it.
    ['clip-twice', 'facts-absent', 'file-unaccounted', 'record-contradictory'],
    (world) =>
      void (world.input.clips = [...world.input.clips, { clip, facts: null, findings: [], settings: due }]),
  ],
  [
    'a clip was not measured, and nobody says why',
    'facts-absent',
    (world) => void (world.input.clips = world.input.clips.map((item) => ({ ...item, facts: null }))),
  ],
  [
    'survey found something that holds',
    'roll-empty',
    (world) =>
      void (world.input.clips = world.input.clips.map((item) => ({
        ...item,
        findings: [finding('roll-empty', 'a', 'b', { clip: item.clip.id })],
      }))),
  ],
  [
    'the night says something that holds',
    'run-interrupted',
    (world) =>
      void (world.input.findings = [finding('run-interrupted', 'Ctrl-C', 'an end', { roll: 'A001' })]),
  ],
  ['no report of a deliverable', 'deliverable-absent', (world) => void world.disk.delete('A001C002/look')],
  [
    'a report that is not there',
    'deliverable-absent',
    (world) => void world.disk.set('A001C002/look', { report: null, damage: null, bytesOnDisk: null }),
  ],
  [
    'a report that cannot be read',
    'record-damaged',
    (world) =>
      void world.disk.set('A001C002/look', {
        report: null,
        damage: finding('record-damaged', 'torn', 'whole'),
        bytesOnDisk: null,
      }),
  ],
  [
    'a profile of which nothing was made',
    'deliverable-absent',
    (world) => {
      world.input.profiles = [...world.input.profiles, loaded('third', 'hash-third')];
      const settings = { ...due, profiles: [...due.profiles, 'third'] };
      world.input.clips = world.input.clips.map((entry) => ({ ...entry, settings }));
    },
  ],
  [
    'a clip of which nothing is due',
    'profiles-absent',
    (world) => {
      const [first, second] = world.input.clips as [GateClip, GateClip];
      world.input.clips = [first, { ...second, settings: { ...due, profiles: [] } }];
    },
  ],
  [
    'a clip of which a profile is due that nobody lists',
    'record-contradictory',
    (world) => {
      const [first, second] = world.input.clips as [GateClip, GateClip];
      world.input.clips = [first, { ...second, settings: { ...due, profiles: ['cut', 'look', 'other'] } }];
    },
  ],
  [
    'a clip of which a profile is due twice',
    'record-contradictory',
    (world) => {
      const [first, second] = world.input.clips as [GateClip, GateClip];
      world.input.clips = [first, { ...second, settings: { ...due, profiles: ['cut', 'look', 'look'] } }];
    },
  ],
  [
    'a deliverable in the middle of being published',
    'deliverable-unpublished',
    (world) => void (world.first.state = 'publishing'),
  ],
  [
    'a deliverable that failed and does not say why',
    'deliverable-unpublished',
    (world) => void (world.first.state = 'failed'),
  ],
  [
    'a deliverable that failed and says why',
    'target-full',
    (world) => {
      world.first.state = 'failed';
      world.first.findings.push(finding('target-full', '0 bytes', 'more'));
    },
  ],
  [
    'a published deliverable with a holding finding',
    'target-full',
    (world) => void world.first.findings.push(finding('target-full', '0 bytes', 'more')),
  ],
  [
    'made from other content',
    'deliverable-outdated',
    (world) => void (world.first.clip.contentDigest = 'digest-before'),
  ],
  [
    'made with other settings',
    'deliverable-outdated',
    (world) => void (world.first.profileHash = 'hash-before'),
  ],
  [
    'made by other tools',
    'deliverable-outdated',
    (world) => void (world.first.toolchain = { ...world.first.toolchain, digest: 'fingerprint-before' }),
  ],
  [
    'a report of another clip under this name',
    'deliverable-outdated',
    (world) => void (world.first.clip.id = 'A001C002'),
  ],
  [
    'a report of another profile under this name',
    'deliverable-outdated',
    (world) => void (world.first.profile = 'look'),
  ],
  [
    'a report of another roll under this name',
    'deliverable-outdated',
    (world) => void (world.first.roll = 'B001'),
  ],
  [
    'a report of another day under this name',
    'deliverable-outdated',
    (world) => void (world.first.day = 'day-02'),
  ],
  ...allChecks.flatMap((check): typeof spoiled => [
    [
      `the check ${check} did not run`,
      'check-absent',
      (world) => void (world.first.checks = world.first.checks.filter((item) => item.check !== check)),
    ],
    [
      `the check ${check} failed`,
      'check-failed',
      (world) =>
        void (world.first.checks = world.first.checks.map((item) =>
          item.check === check ? { ...item, status: 'failed' } : item,
        )),
    ],
  ]),
  [
    'a check passed once and failed once',
    ['check-failed', 'check-twice'],
    (world) =>
      void world.first.checks.push({
        check: 'frames',
        status: 'failed',
        measured: '23',
        expected: '24',
        tool: 'x',
      }),
  ],
  ['no check ran at all', 'check-absent', (world) => void (world.first.checks = [])],
  ['a published report names no file', 'file-absent', (world) => void (world.first.file = null)],
  ['the file is gone', 'file-absent', (world) => void (entry(world, 'A001C001/cut').bytesOnDisk = null)],
  [
    'the file is shorter than when it was published',
    'file-size-differs',
    (world) => void (entry(world, 'A001C001/cut').bytesOnDisk = 1233),
  ],
  [
    'file and report agree on no bytes',
    'file-size-differs',
    (world) => {
      entry(world, 'A001C001/cut').bytesOnDisk = 0;
      world.first.file = { path: 'cut/A001C001.mov', bytes: 0, xxh128: 'aa', sha256: 'bb' };
    },
  ],
  ['a report names no fingerprints', 'fingerprints-absent', (world) => void delete world.first.fingerprints],
  [
    'the fingerprints are gone',
    'fingerprints-absent',
    (world) => void delete entry(world, 'A001C001/cut').fingerprintsSha256,
  ],
  ['a published deliverable was not measured', 'facts-absent', (world) => void (world.first.facts = null)],
  [
    'a copy is reported twice',
    'copy-same-place',
    (world) =>
      void (intake(world).copies[1] = { folder: '/day-03/A001', files: 5, bytes: 5900, verified: true }),
  ],
  [
    'a copy is said to hold and has no file',
    'copy-not-verified',
    (world) => void (intake(world).copies[1] = { folder: '/copy/A001', files: 0, bytes: 0, verified: true }),
  ],
  [
    'a manifest lists no file',
    'verification-absent',
    (world) =>
      void (intake(world).manifests = [
        { file: 'm', kind: 'checksum-file', files: 0, digests: [{ file: 'm', sha256: 'cc' }] },
      ]),
  ],
  [
    'nothing says which bytes a manifest had',
    'record-incomplete',
    (world) => void (intake(world).manifests = [{ file: 'm', kind: 'checksum-file', files: 5 }]),
  ],
  [
    'the digest of a manifest is empty',
    'record-incomplete',
    (world) =>
      void (intake(world).manifests = [
        { file: 'm', kind: 'checksum-file', files: 5, digests: [{ file: 'm', sha256: '' }] },
      ]),
  ],
  [
    'a clip is left out and the files are known by number only',
    'file-unaccounted',
    (world) => {
      world.input.intake = { ...intake(world), files: null };
      world.input.clips = world.input.clips.slice(1);
    },
  ],
  [
    'another file is left out and the files are known by number only',
    'file-unaccounted',
    (world) => {
      world.input.intake = { ...intake(world), files: null };
      world.input.otherFiles = [];
    },
  ],
  [
    'more files are reported than the roll holds',
    'file-unaccounted',
    (world) => void (world.input.otherFiles = ['notes.txt', 'more.txt']),
  ],
  [
    'a profile is listed twice',
    'record-contradictory',
    (world) => void (world.input.profiles = [...world.input.profiles, loaded('cut', 'hash-cut')]),
  ],
  [
    'the toolchain has no fingerprint',
    'record-incomplete',
    (world) => {
      world.input.toolchain = { ...world.input.toolchain, digest: '' };
      for (const { report } of world.disk.values()) if (report) report.toolchain = world.input.toolchain;
    },
  ],
  [
    'the toolchain names no tool',
    'record-incomplete',
    (world) => void (world.input.toolchain = { ...world.input.toolchain, tools: [] }),
  ],
  [
    'a tool has no version',
    'record-incomplete',
    (world) =>
      void (world.input.toolchain = {
        ...world.input.toolchain,
        tools: [{ name: 'ffmpeg', version: '', build: 'b1' }],
      }),
  ],
  [
    'a tool has no build',
    'record-incomplete',
    (world) =>
      void (world.input.toolchain = {
        ...world.input.toolchain,
        tools: [{ name: 'ffmpeg', version: '7.1', build: '' }],
      }),
  ],
  ['a check does not say its tool', 'check-incomplete', (world) => editFirstCheck(world, { tool: '' })],
  [
    'a check does not say what it measured',
    'check-incomplete',
    (world) => editFirstCheck(world, { measured: '' }),
  ],
  [
    'a check does not say what it expected',
    'check-incomplete',
    (world) => editFirstCheck(world, { expected: '' }),
  ],
  [
    'a check has no name',
    'check-incomplete',
    (world) =>
      void world.first.checks.push({ check: '', status: 'passed', measured: 'm', expected: 'm', tool: 'x' }),
  ],
  [
    'a check that nobody asked for failed',
    'check-failed',
    (world) =>
      void world.first.checks.push({
        check: 'moon',
        status: 'failed',
        measured: 'full',
        expected: 'new',
        tool: 'x',
      }),
  ],
  [
    'a check passed twice',
    'check-twice',
    (world) => void world.first.checks.push({ ...(world.first.checks[0] as CheckResult) }),
  ],
  [
    'the report has no SHA-256 of its file',
    'record-incomplete',
    (world) => editFirstFile(world, { sha256: undefined }),
  ],
  ['the SHA-256 is empty', 'record-incomplete', (world) => editFirstFile(world, { sha256: '' })],
  ['the XXH128 is empty', 'record-incomplete', (world) => editFirstFile(world, { xxh128: '' })],
  [
    'the file is not the one that was decided',
    'record-contradictory',
    (world) => editFirstFile(world, { path: 'cut/A001C009.mov' }),
  ],
  [
    'the file lies in the folder of another profile',
    'record-contradictory',
    (world) => editFirstFile(world, { path: 'look/A001C001.mov' }),
  ],
  [
    'two deliverables name one file',
    'record-contradictory',
    (world) => {
      const other = entry(world, 'A001C002/cut').report as DeliverableReport;
      other.outcome.fileName = 'A001C001.mov';
      other.file = structuredClone(world.first.file);
    },
  ],
  [
    'the outcome is of fewer frames than were measured',
    'record-contradictory',
    (world) => void (world.first.outcome.frames = 23),
  ],
  [
    'the clip has more frames than outcome and measurement',
    'record-contradictory',
    (world) => {
      const first = world.input.clips[0] as GateClip;
      world.input.clips = [{ ...first, facts: framesOf(25) }, ...world.input.clips.slice(1)];
    },
  ],
  [
    'measured again, the file has other bytes',
    'digest-differs',
    (world) => remeasured(world, { xxh128: 'a0' }),
  ],
  [
    'measured again, the file has the XXH128 and another SHA-256',
    'digest-differs',
    (world) => remeasured(world, { sha256: 'b0' }),
  ],
  [
    'measured again, a check fails',
    'check-failed',
    (world) =>
      remeasured(world, {
        checks: passed.map((item) => (item.check === 'decode' ? { ...item, status: 'failed' } : item)),
      }),
  ],
  ['measured again, nothing is checked', 'check-absent', (world) => remeasured(world, { checks: [] })],
  [
    'measured again, a check has no tool',
    'check-incomplete',
    (world) => remeasured(world, { checks: passed.map((item) => ({ ...item, tool: '' })) }),
  ],
  ['measured again, it cannot be read', 'facts-absent', (world) => remeasured(world, { facts: null })],
  [
    'measured again, it has another number of frames',
    'record-contradictory',
    (world) => remeasured(world, { facts: framesOf(23) }),
  ],
  [
    'measured again, something is found',
    'does-not-decode',
    (world) => remeasured(world, { findings: [finding('does-not-decode', 'an error', 'none')] }),
  ],
];

const passed: CheckResult[] = allChecks.map((check) => ({
  check,
  status: 'passed',
  measured: 'm',
  expected: 'm',
  tool: 'ffprobe 7.1',
}));
const framesOf = (frames: number): ClipFacts => ({ ...facts, video: { ...facts.video, frames } });

export function editFirstCheck(world: World, change: Partial<CheckResult>): void {
  world.first.checks[0] = { ...(world.first.checks[0] as CheckResult), ...change };
}
export function editFirstFile(world: World, change: Partial<NonNullable<DeliverableReport['file']>>): void {
  world.first.file = { ...(world.first.file as NonNullable<DeliverableReport['file']>), ...change };
}
export function remeasured(world: World, change: Partial<Remeasured>): void {
  entry(world, 'A001C001/cut').remeasured = {
    xxh128: 'aa',
    sha256: 'bb',
    facts,
    checks: passed,
    findings: [],
    ...change,
  };
}
