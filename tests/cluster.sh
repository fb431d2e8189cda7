#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# cluster.sh BUILD: the array job of docs/journal.md for real, on a cluster of one node that is this
# computer: 200 takes in 4 shards, one of which is killed and requeued, merged in random order.
# Oracle: the export of one process that was given all takes, byte for byte. Everything lies in
# BUILD/cluster, daemons listen on the loopback address, and they are stopped at the end.
set -eu
build=$(realpath "$1")
work=$build/cluster
seamline=$build/seamline
user=$(id -un)
PATH=$PATH:/usr/sbin:/sbin
SLURM_CONF=$work/slurm.conf
export SLURM_CONF
unset SEAMLINE_JOURNAL || true

stop() {
    for name in slurmd slurmctld munged; do
        [ ! -s "$work/$name.pid" ] || kill "$(cat "$work/$name.pid")" 2>/dev/null || true
    done
    for _ in 1 2 3 4 5 6 7 8 9 10; do
        alive=
        for name in slurmd slurmctld munged; do
            [ ! -s "$work/$name.pid" ] || ! kill -0 "$(cat "$work/$name.pid")" 2>/dev/null || alive=$name
        done
        [ -n "$alive" ] || return 0
        sleep 1
    done
    echo "$alive could not be stopped" >&2
}
fail() {
    echo "cluster: $*" >&2
    tail -n 5 "$work"/*.log >&2 || true
    exit 1
}
# until SECONDS COMMAND...: as soon as it succeeds.
until_true() {
    left=$1
    shift
    until "$@" >/dev/null 2>&1; do
        left=$((left - 1))
        [ "$left" -gt 0 ] || fail "waited in vain for: $*"
        sleep 1
    done
}

[ ! -d "$work" ] || stop
rm -rf "$work"
mkdir -p "$work/voice" "$work/state" "$work/spool" "$work/journals"
chmod 755 "$work"
cd "$work"
trap stop EXIT
trap 'exit 1' INT TERM

# Eight singers of 25 takes, two to a shard: a singer's takes stay together.
all=$work/all.tsv
printf 'file\tsinger\tdate\tvowel\n' >"$all"
for singer in 11 12 13 14 15 16 17 18; do
    "$build/testvoice" family clear $singer "$work/voice/$singer"
    for file in "$work/voice/$singer"/take-*.wav; do
        for start in 0 1 2 3 4; do
            printf '%s@0.%d-2.%d\tsinger-%d\t2024-0%d-01\ta\n' \
                "$file" $start $start $singer $((start + 1))
        done
    done | head -n 25 >>"$all"
done
[ "$(wc -l <"$all")" = 201 ] || fail "there are not 200 takes"
for shard in 0 1 2 3; do
    awk -F '\t' -v a=singer-$((11 + 2 * shard)) -v b=singer-$((12 + 2 * shard)) \
        'NR == 1 || $2 == a || $2 == b' "$all" >"shard-$shard.tsv"
done

cat >array.sh <<END
#!/bin/sh
#SBATCH --array=0-3 --requeue --output=array-%a.out --open-mode=append
echo \$\$ >"shard-\$SLURM_ARRAY_TASK_ID.pid"
exec "$seamline" add --table "shard-\$SLURM_ARRAY_TASK_ID.tsv" \\
    --journal "journals/shard-\$SLURM_ARRAY_TASK_ID.db"
END

(umask 077; dd if=/dev/urandom of=munge.key bs=1024 count=1 2>/dev/null)
cat >slurm.conf <<END
ClusterName=seamline
SlurmctldHost=localhost(127.0.0.1)
SlurmUser=$user
SlurmdUser=$user
SlurmctldPort=17817
SlurmdPort=17818
AuthType=auth/munge
AuthInfo=socket=$work/munge.socket,cred_expire=5
ProctrackType=proctrack/pgid
TaskPlugin=task/none
MpiDefault=none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
ReturnToService=2
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
NodeName=$(hostname -s) NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=main Nodes=ALL Default=YES State=UP
END
munged --force --key-file="$work/munge.key" --socket="$work/munge.socket" \
    --pid-file="$work/munged.pid" --log-file="$work/munged.log" --seed-file="$work/munge.seed"
slurmctld
slurmd
until_true 60 sh -c 'sinfo -h -o %t | grep -qx idle'

job=$(sbatch --parsable array.sh)
echo "Job $job: 4 shards of 50 takes"

# The third shard is killed as soon as takes of its first singer are stored, and starts again.
takes_of_shard_2() {
    "$seamline" singers --journal journals/shard-2.db 2>/dev/null |
        awk -F '\t' '$3 ~ /^[0-9]+$/ { n += $3 } END { print n + 0 }'
}
stored() {
    [ "$(takes_of_shard_2)" -gt 0 ]
}
until_true 300 stored
kill -KILL "$(cat shard-2.pid)"
until_true 60 sh -c "scontrol show job ${job}_2 | grep -q JobState=FAILED"
echo "Shard 2 was killed with $(takes_of_shard_2) of 50 takes, and is requeued"
scontrol requeue "${job}_2"
until_true 900 sh -c "test \$(scontrol show job $job | grep -c JobState=COMPLETED) = 4"
scontrol show job "${job}_2" | grep -q 'Restarts=1' || fail "shard 2 was not started twice"

order=$(shuf -e 0 1 2 3)
for shard in $order; do
    "$seamline" merge "journals/shard-$shard.db" --journal merged.db >/dev/null
done
echo "Merged in the order" $order
"$seamline" add --table "$all" --journal one.db >/dev/null 2>one.err
"$seamline" export --journal merged.db >merged.tsv
"$seamline" export --journal one.db >one.tsv
[ "$(awk -F '\t' '$1 == "take"' one.tsv | wc -l)" = 200 ] || fail "one process did not store 200 takes"
cmp merged.tsv one.tsv || fail "the merged journal is not that of one process"
"$seamline" journal verify --journal merged.db
echo "200 takes: the export of the merged journal ($(wc -c <merged.tsv) bytes) is that of one process"
