/** Planning 10 000 clips in two profiles, in a process of its own so that its memory can be told from that of other benches. */
import { planNight, type RollToPlan } from '../../coordinator/plan/index.ts';
import { runForOutput } from '../../process/run.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import type { BenchLine } from './line.ts';

const CLIPS = 10_000;
const ROLLS = 40;
const rates = [
  { num: 24000, den: 1001 },
  { num: 25, den: 1 },
  { num: 30000, den: 1001 },
  { num: 60000, den: 1001 },
] as const;

/** No two clips share facts: each has objects of its own, as when they were read from disk. */
const PROFILES = ['editorial-vc3', 'review-h264'];

function rollOf(number: number): RollToPlan {
  const clips = Array.from({ length: CLIPS / ROLLS }, (_, index) => {
    const rate = rates[index % rates.length] as (typeof rates)[number];
    const frames = 240 + (index % 500);
    const samples = Math.floor((frames * rate.den * 48_000) / rate.num);
    const audio = (streamIndex: number) => ({
      streamIndex,
      codec: 'pcm_s24le',
      sampleFormat: 's32',
      bitDepth: 24,
      sampleRate: 48_000,
      channels: 1,
      layout: 'mono',
      samples,
      startOffset: 0,
    });
    const facts = clipFacts({
      video: { rate: { ...rate }, frames, width: 3840, height: 2160 },
      audio: [audio(1), audio(2)],
      timecode: { frame: 1000 * index, base: Math.round(rate.num / rate.den), drop: false },
      metadata: { make: 'foundry', scene: `bell ${index}` },
    });
    return {
      clip: clipNamed(`R${number}C${String(index).padStart(4, '0')}`),
      facts,
      findings: [],
      due: PROFILES,
    };
  });
  return {
    roll: `R${String(number).padStart(3, '0')}`,
    folder: `/rolls/${number}`,
    deliveryFolder: `/delivery/day/R${number}`,
    volume: 'delivery',
    findings: [],
    clips,
  };
}

/** Prints what it measured; run by `benchPlan` in a process of its own. */
export async function measurePlan(): Promise<void> {
  const { profiles } = await loadProfiles({ wanted: PROFILES });
  const rolls = Array.from({ length: ROLLS }, (_, index) => rollOf(index));
  const started = performance.now();
  const plan = planNight({
    night: 'night',
    run: 'run',
    day: 'day',
    rolls,
    profiles,
    toolchain: 't',
    isDone: () => false,
    volumes: [{ name: 'delivery', freeBytes: 2 ** 50, freeFiles: null }],
  });
  const seconds = (performance.now() - started) / 1000;
  process.stdout.write(
    JSON.stringify({
      seconds,
      planned: plan.planned,
      jobs: plan.jobs.length,
      peakMegabytes: process.resourceUsage().maxRSS / 1024,
    }),
  );
}

export async function benchPlan(): Promise<BenchLine[]> {
  const run = await runForOutput(process.execPath, [
    '--input-type=module',
    '-e',
    `import { measurePlan } from ${JSON.stringify(import.meta.url)}; await measurePlan();`,
  ]);
  if (run.exitCode !== 0) throw new Error(run.stderr);
  const { seconds, planned, jobs, peakMegabytes } = JSON.parse(run.stdout.toString('utf8')) as {
    seconds: number;
    planned: number;
    jobs: number;
    peakMegabytes: number;
  };
  const whole = planned === 2 * CLIPS && jobs === CLIPS;
  return [
    {
      name: `plan ${CLIPS} clips in two profiles`,
      measured: `${seconds.toFixed(2)} s, ${planned} deliverables`,
      target: `under 10 s, ${2 * CLIPS} deliverables`,
      passed: whole && seconds < 10,
    },
    {
      name: 'memory of that, whole process',
      measured: `${peakMegabytes.toFixed(0)} MB`,
      target: 'under 400 MB',
      passed: peakMegabytes < 400,
    },
  ];
}
