/** `rushlight volume init`: gives a volume its marker, once. */
import { codeOf } from '../../files/error-code.ts';
import { printable } from '../../files/names.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import { targetFinding, targetTroubleOf } from '../../ledger/target-health.ts';
import { initVolume, MARKER_NAME } from '../../ledger/volumes.ts';
import { printJson, printText } from '../show/output.ts';

export async function volumeInitCommand(options: {
  readonly folder: string;
  readonly json?: boolean;
}): Promise<0> {
  const { folder } = options;
  let volume: Awaited<ReturnType<typeof initVolume>>;
  try {
    volume = await initVolume(folder);
  } catch (error) {
    const trouble = targetTroubleOf(error);
    if (trouble === null) throw error;
    const found =
      trouble === 'gone'
        ? finding('folder-missing', codeOf(error), 'the mount point of a volume', { file: folder })
        : targetFinding(trouble, folder, { found: codeOf(error) });
    throw new FindingError([found], 2);
  }
  if (options.json === true) printJson({ version: 0, kind: 'volume-init', folder, ...volume });
  else
    printText(
      volume.made
        ? `volume  ${volume.id}\n        ${printable(folder)}/${MARKER_NAME}: leave it there. Name the mount point in the list of volumes of each machine.`
        : `volume  ${volume.id}\n        it had its marker before`,
    );
  return 0;
}
