#!/bin/sh
# One task of a job array: one share of a render. Submitted by submit.sh, with the script and the folder of the outputs.
#SBATCH --job-name=stillpath-share
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=share-%A-%a.log
set -u

stillpath render "$1" --out "$2" --quiet \
    --threads "${SLURM_CPUS_PER_TASK:?}" --share "${SLURM_ARRAY_TASK_ID:?}/${SLURM_ARRAY_TASK_COUNT:?}"
code=$?

# Killed, or told to stop: what it kept is there, so the same share begun again goes on from it. A share that was refused or
# failed would fail again.
if [ "$code" -ge 128 ] && [ "${SLURM_RESTART_COUNT:-0}" -lt 3 ]; then
    echo "share $SLURM_ARRAY_TASK_ID ended with $code: begun again"
    scontrol requeue "${SLURM_ARRAY_JOB_ID}_$SLURM_ARRAY_TASK_ID" && exit 0
fi
exit "$code"
