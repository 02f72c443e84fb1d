/** `rushlight demo`: a whole night over a small shoot day that is made on the spot; the same code as `run`. */
import { join, resolve } from 'node:path';
import { layout } from '../../ledger/layout.ts';
import { type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { locateTool } from '../../process/locate.ts';
import { DAY, rolls } from '../demo/script.ts';
import { type DemoFolders, makeShoot } from '../demo/shoot.ts';
import { demoText, introduction } from '../demo/text.ts';
import { surprises } from '../demo/verdict.ts';
import { nightText } from '../show/night-text.ts';
import { printJson, printText } from '../show/output.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_DEMO_FOLDER } from '../night/defaults.ts';
import { takeNight } from './run.ts';

export interface DemoOptions {
  readonly folder?: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

/** 0: exactly the verdicts of the script came out; 1: others did; 130: interrupted. Throws FindingError as `run` does, and for a folder that is not a demo's. */
export async function demoCommand(options: DemoOptions): Promise<0 | 1 | 130> {
  const say = (line: string): void => {
    if (options.quiet !== true) process.stderr.write(`${line}\n`);
  };
  const folders = await film(options, say);
  if (folders === null) return 130;
  const [day, ...copy] = folders.days as [string, ...string[]];
  const tools = {
    ...(options.ffmpeg === undefined ? {} : { ffmpeg: options.ffmpeg }),
    ...(options.ffprobe === undefined ? {} : { ffprobe: options.ffprobe }),
  };
  const night = await takeNight({
    day,
    copy,
    deliver: folders.delivery,
    work: folders.work,
    manifests: [folders.manifests],
    settings: folders.settings,
    profile: [folders.profile, 'review-h264'],
    ...tools,
    ...(options.quiet === undefined ? {} : { quiet: options.quiet }),
  });
  const unexpected = night.interrupted ? [] : surprises(rolls, await verdictsIn(folders.delivery));
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'demo',
      folder: folders.folder,
      asScripted: unexpected.length === 0 && !night.interrupted,
      unexpected,
      night,
    });
  else printText(`${nightText(night)}${night.interrupted ? '' : `\n${demoText(folders, unexpected)}`}`);
  if (night.interrupted) return 130;
  return unexpected.length === 0 ? 0 : 1;
}

/** null: interrupted; started again, it films again. */
async function film(options: DemoOptions, say: (line: string) => void): Promise<DemoFolders | null> {
  const ffmpeg = await locateTool('ffmpeg', options.ffmpeg);
  const interrupts = listenForInterrupts();
  try {
    say(introduction);
    const { folders, made } = await makeShoot(resolve(options.folder ?? DEFAULT_DEMO_FOLDER), ffmpeg, {
      say,
      signal: interrupts.first,
    });
    say(
      made
        ? ''
        : `Using the shoot day of an earlier demo in ${folders.shoot}: what is already done is not made again.\n`,
    );
    return folders;
  } catch (error) {
    if (!interrupts.first.aborted) throw error;
    say('Interrupted while the shoot day was generated. The next demo generates it again.');
    return null;
  } finally {
    interrupts.end();
  }
}

/** From the disk, not from what the night says of itself. */
async function verdictsIn(delivery: string): Promise<Map<string, RollVerdict | null>> {
  const verdicts = new Map<string, RollVerdict | null>();
  for (const { name } of rolls) {
    const record = await readRecord(
      layout.verdict(join(layout.dayFolder(delivery, DAY), name)),
      rollVerdictSchema,
    );
    verdicts.set(name, record.state === 'read' ? record.value : null);
  }
  return verdicts;
}
