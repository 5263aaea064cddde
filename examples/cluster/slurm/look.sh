#!/bin/sh
# One task of a job array: one share of looking at what a script levels or steadies. Submitted by submit.sh, with the script.
#SBATCH --job-name=stillpath-look
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=look-%A-%a.log
exec stillpath look "$1" --share "${SLURM_ARRAY_TASK_ID:?}/${SLURM_ARRAY_TASK_COUNT:?}"
