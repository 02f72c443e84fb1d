/** `rushlight doctor`: what this machine has for a night, and what it lacks, with the remedy. */
import { drawsText, isMaster } from '../../profiles/schema.ts';
import { builtInNames, loadProfiles } from '../../profiles/load.ts';
import { FindingError } from '../../findings/finding.ts';
import { type DoctorQuestion, gather } from '../doctor/gather.ts';
import { type DoctorLine, isFit, judge } from '../doctor/judge.ts';
import { needsOf } from '../doctor/needs.ts';
import { doctorText } from '../doctor/text.ts';

export interface DoctorOptions extends DoctorQuestion {
  /** Profiles that this machine must be able to make, by name or path; none: every built-in one. */
  readonly profiles?: readonly string[];
}

export interface DoctorReport {
  readonly version: 0;
  readonly kind: 'doctor';
  readonly verdict: 'fit' | 'lacking';
  readonly platform: string;
  readonly profiles: readonly string[];
  readonly lines: readonly DoctorLine[];
}

/** Throws FindingError (exit 2) for a profile that cannot be read. */
export async function doctor(options: DoctorOptions): Promise<DoctorReport> {
  const wanted =
    options.profiles === undefined || options.profiles.length === 0 ? builtInNames : options.profiles;
  const { profiles, findings } = await loadProfiles({ wanted });
  if (findings.length > 0) throw new FindingError(findings, 2);
  const asked = profiles.map((loaded) => loaded.profile);
  const facts = await gather(options);
  const lines = judge(facts, {
    abilities: needsOf(asked),
    font: asked.some((profile) => !isMaster(profile) && drawsText(profile)),
    masters: asked.some(isMaster),
  });
  return {
    version: 0,
    kind: 'doctor',
    verdict: isFit(lines) ? 'fit' : 'lacking',
    platform: facts.platform,
    profiles: asked.map((profile) => profile.name),
    lines,
  };
}

/** Prints the report on stdout and gives the exit code: 0, or 3 when something required is missing. */
export async function doctorCommand(options: DoctorOptions & { readonly json?: boolean }): Promise<0 | 3> {
  const report = await doctor(options);
  process.stdout.write(
    options.json === true ? `${JSON.stringify(report, null, 2)}\n` : doctorText(report.lines),
  );
  return report.verdict === 'fit' ? 0 : 3;
}
