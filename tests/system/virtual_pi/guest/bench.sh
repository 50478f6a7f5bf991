# linetender's own wheel goes into the environment that the manual has made; the bench, which
# has one of its own, takes the simulated chips from there.
cd /mnt/host
# After a reset in mid-run it is there already.
if [ ! -e crashed_at ]; then
    /opt/linetender/guest/bin/pip install -q --no-index --no-deps /mnt/host/linetender-*.whl || exit
fi
export PYTHONPATH=/mnt/host:/opt/linetender/guest/lib/python3.11/site-packages
exec /opt/bench/bin/python -u /mnt/host/bench.py $(cat /mnt/host/part)
