/** The volumes of a run: those that its day and its delivery lie in, as their markers say. */
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { type Mount, readMarker, readMounts, toVolume, type Volume, volumeOf } from '../../ledger/volumes.ts';
import type { NightFolders } from './folders.ts';

/** `spec`: as `--volumes` takes it. Throws FindingError (exit 2). */
export async function volumesOf(
  spec: string,
  { day, delivery }: Pick<NightFolders, 'day' | 'delivery'>,
): Promise<{ readonly mounts: readonly Mount[]; readonly volumes: readonly Volume[] }> {
  const mounts = await readMounts(spec);
  const findings: Finding[] = [];
  const volumes = new Map<string, Volume>();
  for (const path of [day, delivery]) {
    const named = toVolume(mounts, path);
    const mount = named === null ? undefined : mounts.find(({ name }) => name === volumeOf(named));
    if (mount === undefined) {
      const places = mounts.map(({ name, at }) => `${name} (${at})`).join(', ');
      findings.push(finding('volume-outside', path, `a folder in ${places}`, { file: path }));
      continue;
    }
    if (volumes.has(mount.name)) continue;
    const marker = await readMarker(mount);
    if ('finding' in marker) findings.push(marker.finding);
    else volumes.set(mount.name, marker.volume);
  }
  if (findings.length > 0) throw new FindingError(findings, 2);
  return { mounts, volumes: [...volumes.values()] };
}
