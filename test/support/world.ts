/** A roll about which everything is known and good, as literals; each test of the gate spoils one thing. */
import type { DeliverableOnDisk, GateClip, GateInput } from '../../coordinator/gate/input.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { type LoadedProfile, type Profile, mandatoryChecks } from '../../profiles/schema.ts';

export const toolchain: Toolchain = {
  rushlight: '0.1.0',
  recipe: 1,
  tools: [{ name: 'ffmpeg', version: '7.1', build: 'b1' }],
  digest: 'fingerprint-now',
};

export const clip: Clip = {
  id: 'A001C001',
  name: 'A001C001',
  place: { kind: 'movie', file: 'clips/A001C001.mov' },
  bytes: 5000,
  contentDigest: 'digest-now',
};
export const secondClip: Clip = {
  id: 'A001C002',
  name: 'A001C002',
  place: {
    kind: 'sequence',
    folder: 'A001C002',
    prefix: 'f.',
    suffix: '.dpx',
    padding: 4,
    first: 9,
    count: 3,
    statedRate: { num: 24, den: 1 },
  },
  bytes: 900,
  contentDigest: 'digest-two',
};

export const facts: ClipFacts = {
  kind: 'movie',
  container: 'mov',
  video: {
    streamIndex: 0,
    codec: 'rdd36',
    codecTag: 'apcn',
    profile: 'Standard',
    level: null,
    width: 320,
    height: 180,
    pixelAspect: { num: 1, den: 1 },
    rotation: 0,
    pixelFormat: 'yuv422p10le',
    bitDepth: 10,
    fieldOrder: 'progressive',
    colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'limited' },
    frames: 24,
    claimedFrames: 24,
    rate: { num: 24, den: 1 },
    timeBase: { num: 1, den: 24 },
    firstTime: 0,
    endTime: 24,
    steps: [{ ticks: 1, count: 23 }],
    rateConstant: true,
    bytes: 4800,
    smallestPacket: 200,
    largestPacket: 200,
  },
  audio: [],
  timecode: null,
  timecodeFrom: null,
  reel: null,
  createdAt: null,
  metadata: {},
};

export const outcome: Outcome = {
  kind: 'movie',
  fileName: 'A001C001.mov',
  frames: 24,
  rate: { num: 24, den: 1 },
  width: 320,
  height: 180,
  pixelFormat: 'yuv422p',
  colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'limited' },
  pixelAspect: { num: 1, den: 1 },
  fieldOrder: 'progressive',
  container: 'mov',
  codec: 'vc3',
  codecTag: 'AVdh',
  codecProfile: 'DNXHR LB',
  maxLevel: null,
  packetBytes: null,
  keyFrameDistance: null,
  timecode: null,
  cadence: { offSpeed: null, constant: null, split: null, timecodeFrom: 'file', timecodeField: null },
  reel: null,
  audio: [],
  proof: {
    framing: {
      scaled: { width: 320, height: 180 },
      window: { left: 0, top: 0, width: 320, height: 180 },
      covered: [],
      inset: null,
    },
    basis: { matrix: 'bt709', range: 'limited' },
    earlierField: null,
    kept: false,
    lines: 180,
    audioOffsets: [],
  },
  burnIn: [],
  shown: null,
  contentLight: null,
  masteringDisplay: null,
  chromaSiting: null,
  pictureError: null,
  exact: null,
  says: null,
  linearisation: null,
  texts: { make: null, model: null, date: null },
  left: [],
  amf: null,
  estimatedBytes: 1000,
};

export function loaded(
  name: string,
  hash: string,
  checks: Profile['checks'] = ['reel'],
): LoadedProfile<Profile> {
  return {
    hash,
    origin: 'test',
    profile: {
      version: 1,
      kind: 'movie',
      name,
      summary: 'for tests',
      container: 'mov',
      video: { codec: 'vc3', quality: 'lb' },
      pixels: '4:2:2 8-bit',
      raster: { policy: 'native', width: null, height: null, multiple_of: 2, enlarge: false },
      interlaced: 'hold',
      colour: {
        primaries: 'source',
        transfer: 'source',
        matrix: 'source',
        range: 'source',
        untagged: 'hold',
      },
      timecode: { missing: 'hold' },
      reel: 'none',
      audio: { tracks: 'all', format: 'pcm-24', rate: 'source', tolerance_frames: 1, offset: 'fit' },
      file_name: '{clip}',
      burn_in: [],
      picture_error: { regions: 'coarse', least_psnr: 30 },
      checks,
    },
  };
}

/** Those that everything must pass and the one that the profile of these tests asks for besides. */
export const allChecks: readonly string[] = [...mandatoryChecks, 'reel'];

export function report(of: Clip, profile: string, profileHash: string): DeliverableReport {
  return {
    version: 0,
    kind: 'deliverable',
    day: 'day-03',
    roll: 'A001',
    clip: of,
    profile,
    profileHash,
    toolchain,
    state: 'published',
    outcome: { ...outcome, fileName: `${of.id}.mov` },
    file: { path: `${profile}/${of.id}.mov`, bytes: 1234, xxh128: 'aa', sha256: 'bb' },
    fingerprints: { path: `reports/fingerprints/${of.id}.fingerprints`, sha256: 'ee' },
    facts,
    // The last one only its maker can see.
    checks: [...allChecks, 'encoder-input'].map((check) => ({
      check,
      status: 'passed',
      measured: 'm',
      expected: 'm',
      tool: 'ffprobe 7.1',
    })),
    findings: [],
    startedAt: '2026-01-01T00:00:00Z',
    finishedAt: '2026-01-01T00:00:01Z',
    host: 'bench',
    attempt: 1,
    command: ['ffmpeg'],
  };
}

export interface World {
  input: { -readonly [Key in keyof GateInput]: GateInput[Key] };
  disk: Map<string, { -readonly [Key in keyof DeliverableOnDisk]: DeliverableOnDisk[Key] }>;
  /** The report of the first clip in the first profile. */
  first: DeliverableReport;
}

/** Both profiles are due of every clip. */
export const due: GateClip['settings'] = { camera: null, profiles: ['cut', 'look'], applied: [] };

/** Two clips, two profiles, two copies: all of it in order. Deep copies, so that a test may change anything. */
export function goodWorld(): World {
  const profiles = [loaded('cut', 'hash-cut'), loaded('look', 'hash-look')];
  const disk: World['disk'] = new Map();
  for (const of of [clip, secondClip]) {
    for (const { profile, hash } of profiles)
      disk.set(`${of.id}/${profile.name}`, {
        report: structuredClone(report(of, profile.name, hash)),
        damage: null,
        bytesOnDisk: 1234,
        fingerprintsSha256: 'ff',
      });
  }
  const input: World['input'] = {
    day: 'day-03',
    roll: 'A001',
    intake: structuredClone({
      day: 'day-03',
      roll: 'A001',
      folder: '/day-03/A001',
      manifests: [
        {
          file: '/day-03/A001/checksums.md5',
          kind: 'checksum-file',
          files: 5,
          digests: [{ file: 'checksums.md5', sha256: 'cc' }],
        },
      ],
      copies: [
        { folder: '/day-03/A001', files: 5, bytes: 5900, verified: true },
        { folder: '/copy/A001', files: 5, bytes: 5900, verified: true },
      ],
      files: [
        'clips/A001C001.mov',
        'A001C002/f.0009.dpx',
        'A001C002/f.0010.dpx',
        'A001C002/f.0011.dpx',
        'notes.txt',
      ].map((path) => ({ path, bytes: 1, hashes: {} })),
      findings: [],
    }),
    copiesAsked: 2,
    clips: [
      { clip, facts, findings: [], settings: due },
      { clip: secondClip, facts, findings: [], settings: due },
    ],
    recordings: [],
    otherFiles: ['notes.txt'],
    profiles,
    toolchain,
    onDisk: disk,
    findings: [],
    timeZone: null,
    decidedAt: '2026-01-01T06:00:00Z',
  };
  const first = disk.get('A001C001/cut')?.report as DeliverableReport;
  return { input, disk, first };
}
