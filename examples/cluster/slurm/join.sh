#!/bin/sh
# The job that comes after all shares: puts the clips together. Submitted by submit.sh, with the script and the folder.
#SBATCH --job-name=stillpath-join
#SBATCH --output=join-%j.log
exec stillpath join "$1" --out "$2"
