/** What cannot stand together in a master profile, whatever the clip. */
import { fileName, type Impossible, reservedName } from '../rules.ts';
import { isLossy } from './form.ts';
import { checksOf, type MasterProfile } from './schema.ts';

const no = (path: Impossible['path'], found: string, expected: string): Impossible => ({
  code: 'profile-combination',
  path,
  found,
  expected,
});

export function impossibleMaster(profile: MasterProfile): Impossible[] {
  const out: Impossible[] = [];
  if (profile.compression !== 'none' && profile.format !== 'exr')
    out.push(no(['compression'], `${profile.compression} with ${profile.format}`, 'none'));
  if (profile.dwa_level !== undefined && !isLossy(profile))
    out.push(
      no(
        ['dwa_level'],
        `${profile.dwa_level} with ${profile.compression}`,
        'nothing: dwaa and dwab alone have it',
      ),
    );
  if (profile.bits !== undefined && profile.format !== 'dpx')
    out.push(no(['bits'], `${profile.bits} with ${profile.format}`, 'nothing: dpx alone has them'));
  if (profile.quality !== undefined && profile.format !== 'rdd36')
    out.push(no(['quality'], `${profile.quality} with ${profile.format}`, 'nothing: rdd36 alone has it'));
  out.push(...fileName(profile), ...reservedName(profile));
  const { all, more } = checksOf(profile.format);
  const asked: readonly string[] = profile.checks;
  const missing = all.filter((check) => !asked.includes(check));
  out.push(
    ...missing.map(
      (check): Impossible => ({
        code: 'profile-check-left-out',
        path: ['checks'],
        found: `no ${check}`,
        expected: `all of: ${all.join(', ')}`,
      }),
    ),
  );
  const foreign = asked.filter((check) => !all.includes(check) && !more.includes(check));
  if (foreign.length > 0)
    out.push(no(['checks'], `${foreign.join(', ')} with ${profile.format}`, [...all, ...more].join(', ')));
  if (new Set(profile.checks).size !== profile.checks.length)
    out.push(no(['checks'], 'a check twice', 'every check once'));
  return out;
}
