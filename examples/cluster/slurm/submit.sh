#!/bin/sh
# Submits a render to Slurm: an array of shares, and a job that joins them when all are made.
#
# Usage: submit.sh SCRIPT OUT SHARES [look]
#
# SCRIPT, its stills and OUT lie on a disk that all nodes see under the same path, as do stillpath itself and the folder
# that XDG_CACHE_HOME names. With `look` a first array looks at the stills, for scripts with level = true or steady = true.
# Prints the numbers of the jobs.
set -eu
[ $# -ge 3 ] || { sed -n '2,9s/^# \{0,1\}//p' "$0"; exit 64; }
here=$(cd "$(dirname "$0")" && pwd)
script=$1 out=$2 shares=$3 look=${4:-}
threads=${STILLPATH_THREADS:-2}

after=""
if [ "$look" = look ]; then
    looking=$(sbatch --parsable --array="1-$shares" --cpus-per-task="$threads" "$here/look.sh" "$script")
    after="--dependency=afterok:$looking"
    echo "looking: $looking"
fi
# shellcheck disable=SC2086 # nothing, or one option
making=$(sbatch --parsable $after --array="1-$shares" --cpus-per-task="$threads" "$here/share.sh" "$script" "$out")
echo "shares: $making"
joining=$(sbatch --parsable --dependency="afterok:$making" --cpus-per-task=1 "$here/join.sh" "$script" "$out")
echo "join: $joining"
