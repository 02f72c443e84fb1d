/** `rushlight check`: intake alone. Every byte of every copy against the manifests; writes nothing. */
import { FindingError, finding, blocks } from '../../findings/finding.ts';
import { type IntakeResult, isVerified } from '../../ledger/roll.ts';
import { newRunProgress } from '../progress/run-progress.ts';
import { nightFolders } from '../roll/folders.ts';
import { verifyRoll } from '../roll/know.ts';
import { findRolls } from '../roll/rolls.ts';
import { intakeText } from '../show/intake-text.ts';
import { printJson, printText } from '../show/output.ts';
import { showProgress } from '../show/progress.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_READERS } from './defaults.ts';

export interface CheckOptions {
  readonly day: string;
  readonly copy?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

export async function checkCommand(options: CheckOptions): Promise<0 | 1 | 130> {
  const folders = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    manifests: options.manifests ?? [],
  });
  const { rolls, dayManifests, findings } = await findRolls(folders);
  if (rolls.length === 0)
    throw new FindingError(
      [...findings, finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day })],
      2,
    );
  const interrupts = listenForInterrupts();
  const runProgress = newRunProgress(rolls.map((roll) => roll.name));
  const progress = showProgress(runProgress, { quiet: options.quiet === true });
  const results: IntakeResult[] = [];
  try {
    for (const roll of rolls) {
      const intake = await verifyRoll(roll, {
        dayManifests,
        request: { folders, readers: options.readers ?? DEFAULT_READERS },
        runProgress,
        // Nothing is half done here: the first interrupt ends it.
        signal: interrupts.first,
      });
      runProgress.setPhase(roll.name, isVerified(intake) ? 'ready' : 'held');
      results.push(intake);
    }
  } catch (error) {
    if (!interrupts.first.aborted) throw error;
  } finally {
    progress.stop();
    interrupts.end();
  }
  const whole = results.length === rolls.length;
  const good = whole && results.every(isVerified) && !findings.some(blocks);
  // Files with their checksums are what a reader of JSON may want to compare; people are shown their number.
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'check',
      day: folders.dayName,
      verdict: good ? 'verified' : 'held',
      interrupted: !whole,
      rolls: results.map((intake) => ({ ...intake, verified: isVerified(intake) })),
      findings,
    });
  else printText(intakeText(results, findings, rolls.length));
  if (!whole) return 130;
  return good ? 0 : 1;
}
