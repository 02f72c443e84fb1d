/** Building the handover of 10 000 clips from their records on disk, in a process of its own so that its memory can be told from that of other benches. */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { publishHandover } from '../../handover/publish.ts';
import { layout } from '../../ledger/layout.ts';
import { statementBytes, statementOf } from '../../ledger/provenance/build.ts';
import { clipReportSchema } from '../../ledger/report.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { recordBytes } from '../../ledger/store.ts';
import { runForOutput } from '../../process/run.ts';
import { modelRecords } from '../support/day-model.ts';
import { audioFor, clipFacts, clipNamed } from '../support/facts.ts';
import type { BenchLine } from './line.ts';

const CLIPS = 10_000;
const ROLLS = 40;
const RATE = { num: 24_000, den: 1001 };
const PROFILES = ['editorial-vc3', 'review-h264'];

const sha256 = (bytes: Buffer): string => createHash('sha256').update(bytes).digest('hex');

async function writeRoll(dayFolder: string, number: number): Promise<void> {
  const roll = `R${String(number).padStart(3, '0')}`;
  const { verdict, reports } = await modelRecords(
    roll,
    Array.from({ length: CLIPS / ROLLS }, (_, index) => {
      const frames = 240 + (index % 500);
      return {
        clip: clipNamed(`${roll}C${String(index).padStart(4, '0')}`),
        facts: clipFacts({
          video: { rate: RATE, frames },
          audio: [audioFor(frames, RATE)],
          timecode: { frame: 8_000 * index + number, base: 24, drop: false },
          metadata: { scene: `bell ${index}` },
        }),
        profiles: PROFILES,
      };
    }),
  );
  const folder = join(dayFolder, roll);
  mkdirSync(join(folder, 'reports'), { recursive: true });
  const records = reports.map((report) => {
    const bytes = recordBytes(clipReportSchema, report);
    writeFileSync(layout.clipReport(folder, report.clip.id), bytes);
    return { path: layout.clipReport('', report.clip.id), sha256: sha256(bytes) };
  });
  writeFileSync(layout.verdict(folder), recordBytes(rollVerdictSchema, verdict));
  const outputs = reports.flatMap(({ deliverables }) =>
    deliverables.flatMap(({ report }) =>
      report?.file == null ? [] : [{ path: report.file.path, sha256: report.file.sha256 ?? '' }],
    ),
  );
  const facts = new Map(reports.map(({ clip, facts: own }) => [clip.id, own]));
  writeFileSync(layout.statement(folder), statementBytes(statementOf({ verdict, facts, outputs, records })));
}

/** Prints what it measured; run by `benchHandover` in a process of its own. */
export async function measureHandover(dayFolder: string): Promise<void> {
  const started = performance.now();
  const { written, rolls, findings } = await publishHandover(dayFolder);
  const seconds = (performance.now() - started) / 1000;
  process.stdout.write(
    JSON.stringify({
      seconds,
      whole: rolls.length === ROLLS && written.includes('bin.otio') && findings.length === 0,
      peakMegabytes: process.resourceUsage().maxRSS / 1024,
    }),
  );
}

export async function benchHandover(): Promise<BenchLine[]> {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const dayFolder = join(folder, 'day-07');
    for (let number = 0; number < ROLLS; number += 1) await writeRoll(dayFolder, number);
    const run = await runForOutput(process.execPath, [
      '--input-type=module',
      '-e',
      `import { measureHandover } from ${JSON.stringify(import.meta.url)}; await measureHandover(${JSON.stringify(dayFolder)});`,
    ]);
    if (run.exitCode !== 0) throw new Error(run.stderr);
    const { seconds, whole, peakMegabytes } = JSON.parse(run.stdout.toString('utf8')) as {
      seconds: number;
      whole: boolean;
      peakMegabytes: number;
    };
    const isThere = existsSync(join(dayFolder, 'handover', 'statement.json'));
    return [
      {
        name: `handover of ${CLIPS} clips, records read from disk`,
        measured: `${seconds.toFixed(2)} s`,
        target: 'under 10 s',
        passed: whole && isThere && seconds < 10,
      },
      {
        name: 'memory of that, whole process',
        measured: `${peakMegabytes.toFixed(0)} MB`,
        target: 'under 300 MB',
        passed: whole && isThere && peakMegabytes < 300,
      },
    ];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
