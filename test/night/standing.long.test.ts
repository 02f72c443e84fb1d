/** The whole set of disturbances on a shared Redis with a password. */
import { disturbedNights } from './disturbances.ts';
import { ownRedis } from './own-redis.ts';

disturbedNights((await ownRedis()).place, 'all');
