#!/bin/sh
# Runs a restitch job array on a Slurm of one node, started for that alone (Debian's slurm-wlm and
# munge, as root), and compares its panoramas with those of one run without Slurm.
#
#   slurm_one_node.sh PROGRAM TEMPLATE FRAMES_DIR WORK_DIR
#
# Run by hand. Ends with 77 where there is no Slurm.
set -eu
program=$(realpath "$1") template=$(realpath "$2") frames=$(realpath "$3")
mkdir -p "$4"
work=$(realpath "$4")
for tool in munged slurmctld slurmd sbatch; do
  command -v $tool >/dev/null || { echo "skipped: $tool is not installed (apt-get install slurm-wlm munge)"; exit 77; }
done
[ "$(id -u)" = 0 ] || { echo "skipped: starting a Slurm needs root"; exit 77; }

mkdir -p "$work/state" "$work/spool" /run/munge /var/log/munge /var/lib/munge
chown munge: /run/munge /var/log/munge /var/lib/munge
own_munged=no
pgrep -x munged >/dev/null || { own_munged=yes; su -s /bin/sh munge -c munged; }
host=$(hostname -s)
export SLURM_CONF="$work/slurm.conf"
cat >"$SLURM_CONF" <<CONF
ClusterName=one
SlurmctldHost=$host(127.0.0.1)
AuthType=auth/munge
SlurmUser=root
SlurmdUser=root
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
ProctrackType=proctrack/pgid
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
MpiDefault=none
ReturnToService=2
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) RealMemory=1000 State=UNKNOWN
PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
slurmctld
slurmd
trap 'kill $(cat "$work/slurmctld.pid" "$work/slurmd.pid") 2>/dev/null || true
  [ $own_munged = no ] || pkill -x munged || true' EXIT
for _ in $(seq 30); do
  sinfo -h -o %t 2>/dev/null | grep -q idle && break
  sleep 1
done
sinfo

restitch() {
  "$program" restitch "$frames" --template "$template" --out "$1" --width 1024 --seam plain ${2:-} ${3:-} ${4:-} ${5:-}
}
restitch "$work/array" --part 1/4 --emit-slurm "$work/job.sh"
cd "$work"
SEAMWRIGHT=$program SBATCH_OPTIONS="--output=$work/slurm-%A_%a.out" sh "$work/job.sh"
for _ in $(seq 300); do
  [ -z "$(squeue -h)" ] && break
  sleep 1
done
squeue
tail -n 2 "$work"/slurm-*.out
restitch "$work/alone" >/dev/null 2>&1 || [ $? = 2 ]
diff -r --exclude=.restitch --exclude=restitch-report.json "$work/array" "$work/alone"
echo "the job array wrote the same $(ls "$work/alone" | wc -l) files as one run alone"
