/** How near published movies are to what their encoders were given, by profile. Pure. */
import { printable } from '../../files/names.ts';
import type { DeliverableReport } from '../../ledger/report.ts';

export interface ProfilePsnr {
  readonly profile: string;
  /** Decibels of luma: the least median of a clip, and the worst frame of all. */
  readonly median: number;
  readonly worst: number;
  /** Where that frame is. */
  readonly clip: string;
  readonly frame: number;
  readonly timecode: string | null;
}

export function psnrByProfile(reports: readonly DeliverableReport[]): ProfilePsnr[] {
  const profiles = new Map<string, ProfilePsnr>();
  for (const { profile, clip, checks } of reports) {
    const luma = checks.find(({ pictureError }) => pictureError !== undefined)?.pictureError?.planes[0];
    if (luma === undefined) continue;
    const known = profiles.get(profile);
    const own = { clip: clip.name, worst: luma.worst, frame: luma.frame, timecode: luma.timecode };
    profiles.set(profile, {
      profile,
      ...(known === undefined || own.worst < known.worst
        ? own
        : { clip: known.clip, worst: known.worst, frame: known.frame, timecode: known.timecode }),
      median: Math.min(luma.median, known?.median ?? Number.POSITIVE_INFINITY),
    });
  }
  return [...profiles.values()].sort((one, other) => (one.profile < other.profile ? -1 : 1));
}

export function psnrText({ profile, median, worst, clip, frame, timecode }: ProfilePsnr): string {
  const place = timecode === null ? `frame ${frame}` : `frame ${frame}, ${timecode}`;
  return `${printable(profile)}: PSNR of luma ${median.toFixed(1)} dB in the middle of a clip, ${worst.toFixed(1)} dB at worst (${printable(clip)}, ${place})`;
}
