/** Where everything lies in a delivery (DESIGN, "On disk"). The only place that builds these paths. */
import { join } from 'node:path';

export const STAGING_PREFIX = '.rushlight-part-';

export const layout = {
  dayFolder: (delivery: string, day: string): string => join(delivery, day),
  rollFolder: (delivery: string, day: string, roll: string): string => join(delivery, day, roll),
  verdict: (rollFolder: string): string => join(rollFolder, 'roll.json'),
  profileFolder: (rollFolder: string, profile: string): string => join(rollFolder, profile),
  deliverable: (rollFolder: string, profile: string, fileName: string): string => join(rollFolder, profile, fileName),
  /** Same folder as the final name: a rename must never cross a file system. */
  staging: (rollFolder: string, profile: string, token: string, extension: string): string => join(rollFolder, profile, `${STAGING_PREFIX}${token}.${extension}`),
  reportsFolder: (rollFolder: string): string => join(rollFolder, 'reports'),
  clipReport: (rollFolder: string, clipId: string): string => join(rollFolder, 'reports', `${clipId}.json`),
  deliverableReport: (rollFolder: string, clipId: string, profile: string): string => join(rollFolder, 'reports', 'deliverables', `${clipId}.${profile}.json`),
} as const;
