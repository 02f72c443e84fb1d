/** Case number n of a campaign of colour ways: a source, its way, a profile and a fault of that way, drawn from the seed and the number alone. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { dirname, join } from 'node:path';
import { layout } from '../../ledger/layout.ts';
import type { Job } from '../../ledger/job.ts';
import { inputOfTags, type InputTransform } from '../../media/colour/input.ts';
import { type ColourWay, usualWay, type WayLook } from '../../media/colour/way.ts';
import { lookFile } from '../../media/colour/way-files.ts';
import { factsSeen } from '../../profiles/shown/decide.ts';
import { packageFolder } from '../../files/installation.ts';
import { showingFor } from '../../worker/colour-way.ts';
import { readInput, readLook } from '../../ledger/transform.ts';
import { ap0OfAcescct } from '../../media/colour/acescct.ts';
import {
  bakeTable,
  SCALED_END,
  sizeOf,
  type TableFiles,
  tableFiles,
} from '../../media/colour/shown/table.ts';
import { showingOf } from '../../media/colour/shown/way.ts';
import type { Operation } from '../faults/operation.ts';
import { type Random, randomOf } from '../faults/random.ts';
import {
  isAptWay,
  type WayFault,
  type WayFaultName,
  wayFaultNames,
  wayFaults,
} from '../faults/way-faults.ts';
import { factsOf } from '../support/make.ts';
import { interpretation, masterJob } from '../support/master.ts';
import { type ClipOnDisk, numberedFrames, rawClip, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import type { Case, Deal, Dealer } from './draw.ts';

type SourceName = 'log' | 'pq' | 'hlg' | 'bt709' | 'srgb' | 'log-frames' | 'srgb-frames' | 'raw';
const sourceNames: readonly SourceName[] = [
  'log',
  'pq',
  'hlg',
  'bt709',
  'srgb',
  'log-frames',
  'srgb-frames',
  'raw',
];
const scenes = ['chart', 'zoom', 'dark', 'grain'] as const;
type Scene = (typeof scenes)[number];

const MOVIE = { width: 256, height: 144, frames: 8 } as const;
const FRAMES = { width: 160, height: 96, frames: 5 } as const;
const SIZE = `${MOVIE.width}x${MOVIE.height}`;
const drawn: Readonly<Record<Scene, string>> = {
  chart: `testsrc2=s=${SIZE}:r=24:d=1,noise=alls=6:allf=t`,
  zoom: `mandelbrot=s=${SIZE}:r=24,noise=alls=4:allf=t`,
  dark: `mandelbrot=s=${SIZE}:r=24,format=yuv420p,lutyuv=y=16+(val-16)/6:u=128+(val-128)/4:v=128+(val-128)/4,noise=alls=5:allf=t`,
  grain: `color=c=gray:s=${SIZE}:r=24,noise=alls=60:allf=t`,
};
/** ffmpeg's names, and what brings the codes of a drawn picture to a range that such recordings have. */
const movies: Readonly<
  Record<
    Exclude<SourceName, 'log-frames' | 'srgb-frames' | 'raw'>,
    { readonly tags: string; readonly levels: string }
  >
> = {
  log: {
    tags: 'color_primaries=bt709:color_trc=bt709:colorspace=bt709',
    levels: 'lutyuv=y=220+(val-64)*0.5:u=512+(val-512)*0.35:v=512+(val-512)*0.35',
  },
  pq: {
    tags: 'color_primaries=bt2020:color_trc=smpte2084:colorspace=bt2020nc',
    levels: 'lutyuv=y=64+(val-64)*0.7:u=512+(val-512)*0.3:v=512+(val-512)*0.3',
  },
  hlg: {
    tags: 'color_primaries=bt2020:color_trc=arib-std-b67:colorspace=bt2020nc',
    levels: 'lutyuv=y=64+(val-64)*0.9:u=512+(val-512)*0.4:v=512+(val-512)*0.4',
  },
  bt709: { tags: 'color_primaries=bt709:color_trc=bt709:colorspace=bt709', levels: 'null' },
  srgb: { tags: 'color_primaries=bt709:color_trc=iec61966-2-1:colorspace=bt709', levels: 'null' },
};
const profilesOf: Readonly<Record<SourceName, readonly string[]>> = {
  log: ['native-rdd36', 'native-pq', 'native-hlg'],
  pq: ['native-rdd36', 'native-hlg'],
  hlg: ['native-rdd36', 'native-pq'],
  bt709: ['native-pq', 'native-hlg'],
  srgb: ['native-pq', 'native-hlg'],
  'log-frames': ['native-rdd36', 'native-pq'],
  'srgb-frames': ['native-pq', 'native-hlg'],
  raw: ['native-rdd36', 'native-hlg'],
};
const inputOf: Partial<Record<SourceName, InputTransform>> = {
  log: { name: 'slog3-sgamut3cine' },
  'log-frames': { name: 'logc3-awg3', ei: 800 },
  'srgb-frames': { name: 'srgb' },
};

async function makeClip(folder: string, source: SourceName, scene: Scene): Promise<ClipOnDisk> {
  const rollFolder = join(folder, `${source}-${scene}`);
  mkdirSync(rollFolder, { recursive: true });
  if (source === 'raw')
    return await rawClip(rollFolder, { width: FRAMES.width, height: FRAMES.height, frames: FRAMES.frames });
  if (source === 'log-frames' || source === 'srgb-frames') {
    mkdirSync(join(rollFolder, 'A001C001'), { recursive: true });
    await ffmpeg(
      ...['-f', 'lavfi', '-i', `${drawn[scene]},scale=${FRAMES.width}:${FRAMES.height},format=gbrp10le`],
      ...['-vf', 'lutrgb=r=150+val*0.6:g=150+val*0.6:b=150+val*0.6', '-frames:v', String(FRAMES.frames)],
      ...['-start_number', '1001', '-pix_fmt', 'gbrp10be', join(rollFolder, 'A001C001', 'A001C001.%05d.dpx')],
    );
    return await sequenceClip(rollFolder, numberedFrames('.dpx', { padding: 5, count: FRAMES.frames }));
  }
  const { tags, levels } = movies[source];
  const path = join(rollFolder, 'A001C001.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', `${drawn[scene]},format=yuv422p10le`],
    ...['-vf', `${levels},setparams=${tags}:range=tv`, '-frames:v', String(MOVIE.frames)],
    ...['-c:v', 'prores_ks', '-profile:v', '3', '-timecode', '01:00:00:00', path],
  );
  return { rollFolder, place: { kind: 'movie', file: 'A001C001.mov' }, facts: await factsOf(path) };
}

/** Two looks from ACEScct to itself, kept as a night keeps them. */
function makeLooks(folder: string): readonly [WayLook, WayLook] {
  const look = (file: string, [r, g, b]: readonly [number, number, number]): WayLook => {
    const rows = Array.from({ length: 8 }, (_, at) =>
      [(at & 1) * 0.9 + r, ((at >> 1) & 1) * 0.9 + g, (at >> 2) * 0.9 + b].join(' '),
    );
    const bytes = Buffer.from(`LUT_3D_SIZE 2\n${rows.join('\n')}\n`);
    const source = { file, bytes, from: 'acescct', to: 'acescct', interpolation: 'tetrahedral' } as const;
    const { sha256: aces, text } = lookFile(source);
    const path = join(folder, layout.transform(aces, '.clf'));
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, text);
    const { bytes: _, ...said } = source;
    return { ...said, sha256: createHash('sha256').update(bytes).digest('hex'), aces };
  };
  return [look('bell.cube', [0.02, 0.04, 0.06]), look('clay.cube', [0.06, 0.04, 0.03])];
}

function drawWay(random: Random, look: WayLook): ColourWay {
  const cdl: ColourWay['cdl'] = {
    values: { slope: [1.1, 1, 0.9], offset: [0.01, 0, -0.02], power: [1, 1.05, 0.95], saturation: 0.9 },
    space: 'acescct',
    from: null,
  };
  return {
    ...usualWay,
    exposure: random.of([0, 0, 0.5, -1]),
    cdl: random.below(2) === 0 ? cdl : null,
    look: random.below(2) === 0 ? look : null,
    output: random.below(5) === 0 ? 'aces-1' : 'aces-2',
  };
}

/** As a worker bakes one, of a way that is not the clip's. */
async function spoiledTable(
  folder: string,
  { shown, lookInFront }: Extract<WayFault, { do: 'bake' }>,
): Promise<TableFiles> {
  const { display, output, way } = shown;
  const exchanged = async () => {
    const input = shown.from === 'recorded' ? await readInput(folder, shown.input) : ap0OfAcescct;
    const look = way.look === null ? { steps: [] } : await readLook(folder, way.look);
    if (output !== null && 'placed' in output) throw new Error('nothing is placed with a look');
    return showingOf({
      input: { steps: [...input.steps, ...look.steps] },
      way: { ...way, look: null },
      look: null,
      output,
    });
  };
  const version = output !== null && 'rendering' in output ? output.rendering.version : 'aces-2';
  return tableFiles(
    bakeTable({
      showing: lookInFront === true ? await exchanged() : await showingFor(folder, shown),
      display,
      end: shown.from === 'recorded' ? SCALED_END : 1,
      size: sizeOf(version),
    }),
  );
}

const MOST_TRIES = 500;

/** `folder`: where the material lies, made as it is needed. `only`: this fault in every case. */
export function wayDealer(seed: number, folder: string, only?: WayFaultName): Dealer {
  const kept = join(folder, 'kept');
  mkdirSync(kept, { recursive: true });
  const looks = makeLooks(kept);
  const order = only === undefined ? randomOf(seed, 'ways').shuffled(wayFaultNames) : [only];
  const making = new Map<string, Promise<ClipOnDisk>>();
  const clipOf = (source: SourceName, scene: Scene): Promise<ClipOnDisk> => {
    const name = `${source} ${scene}`;
    const made = making.get(name) ?? makeClip(folder, source, scene);
    making.set(name, made);
    return made;
  };

  const operationOf = async (id: string, fault: WayFault): Promise<Operation> => {
    if (fault.do !== 'bake') return fault;
    const files = await spoiledTable(kept, fault);
    const [spread, space] = [join(folder, `${id}-spread.cube`), join(folder, `${id}.cube`)];
    writeFileSync(spread, files.spread);
    writeFileSync(space, files.space);
    const { claimed } = fault;
    return {
      ...{ do: 'other-table', stage: 'encoder', spread, space },
      ...(claimed === undefined ? {} : { claimed }),
    };
  };

  /** Faults of one round hit as few clips and ways as can have them: the table of a way, which is the dearest of a case, is then made once. */
  const benchOf = (draws: Random) => {
    const source = draws.of(sourceNames);
    return {
      source,
      scene: draws.of(scenes),
      name: draws.of(profilesOf[source]),
      way: drawWay(draws, looks[0]),
    };
  };

  /** `round`: what its clip and way are drawn by. */
  const draw = async (id: string, fault: WayFaultName | null, round: string): Promise<Case> => {
    const random = randomOf(seed, 'way', id);
    for (let tried = 0; tried < MOST_TRIES; tried += 1) {
      const { source, scene, name, way } = benchOf(randomOf(seed, 'bench', round, tried));
      const clip = await clipOf(source, scene);
      const input = inputOf[source] ?? (source === 'raw' ? null : inputOfTags(clip.facts.video.colour));
      const job = await masterJob(
        clip.rollFolder,
        kept,
        clip.place,
        { ...clip.facts, way },
        [join(packageFolder, 'test', 'fixtures', 'profiles', `${name}.yaml`)],
        { ...interpretation, input },
      );
      const [work] = job.deliverables;
      if (work?.kind !== 'movie' || work.outcome.shown === null) throw new Error(`${source}: no colour way`);
      const { shown } = work.outcome;
      const { width, height, frames } = factsSeen(clip.facts, shown).video;
      const drawn =
        fault === null
          ? null
          : wayFaults[fault]({ shown, width, height, frames, otherLook: looks[1] }, random);
      if (fault !== null && drawn === null) continue;
      const operation: Operation = drawn === null ? { do: 'none' } : await operationOf(id, drawn);
      return {
        id,
        fault,
        clip: `${source}-${scene}`,
        profiles: [name],
        operation,
        job: { ...job, deliveryFolder: kept } satisfies Job,
      };
    }
    throw new Error(`case ${id}: no source and way can have the fault ${fault}`);
  };
  const deal = (id: string, fault: WayFaultName | null, round: string): Deal => ({
    id,
    fault,
    draw: () => draw(id, fault, round),
    isApt: (_, codes) => fault !== null && isAptWay(fault, codes),
  });
  return {
    fault: (number) =>
      deal(
        String(number),
        order[number % order.length] as WayFaultName,
        `round-${Math.floor(number / order.length)}`,
      ),
    clean: (number) => deal(`clean-${number}`, null, `clean-${number}`),
  };
}
