"""Pages in a real browser: a headless Chromium, where there is one."""

import json
import re
import shutil
import subprocess
from html import escape, unescape
from pathlib import Path
from typing import Any

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

OPTIONS = (
    "--headless",
    "--no-sandbox",  # root cannot have one; the pages are our own and load nothing
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--enable-logging=stderr",
)

# The page under test stands unchanged in a frame of the wanted width, so that its media
# queries see that width; the page around it measures.
MEASURING = """<!doctype html><meta charset="utf-8"><link rel="icon" href="data:,">
%s<pre id="found"></pre><script>
function visible(e){const r=e.getBoundingClientRect();return r.width>0&&r.height>0}
function overlap(a,b){return Math.min(a.right,b.right)-Math.max(a.left,b.left)>0.5&&
 Math.min(a.bottom,b.bottom)-Math.max(a.top,b.top)>0.5}
function measured(frame){
 const doc=frame.contentDocument,root=doc.documentElement,width=root.clientWidth
 const overlaps=[],outside=[],small=[]
 for(const svg of doc.querySelectorAll("svg[role=img]")){
  if(!visible(svg))continue
  const box=svg.getBoundingClientRect(),scale=box.width/svg.viewBox.baseVal.width
  if(13*scale<9)small.push(13*scale)
  const texts=[...svg.querySelectorAll("text")].map(t=>[t.textContent,t.getBoundingClientRect()])
  texts.forEach(([name,r],i)=>{
   if(r.left<box.left-0.5||r.right>box.right+0.5||r.top<box.top-0.5||r.bottom>box.bottom+0.5)
    outside.push(name)
   texts.slice(i+1).forEach(([other,s])=>{if(overlap(r,s))overlaps.push(name+" / "+other)})})}
 for(const e of doc.querySelectorAll("main *")){
  if(!visible(e)||e.closest(".wide-table"))continue
  const r=e.getBoundingClientRect()
  if(r.right>width+0.5&&!e.closest("svg"))outside.push(e.tagName)}
 const wide=[...doc.querySelectorAll(".wide-table")].filter(e=>e.scrollWidth>e.clientWidth+1)
 const blocks=[...doc.querySelectorAll("main > *")].filter(visible)
  .map(e=>[e.tagName,e.getBoundingClientRect()])
 blocks.forEach(([name,r],i)=>{if(i&&r.top<blocks[i-1][1].bottom-0.5)
  overlaps.push(blocks[i-1][0]+" / "+name)})
 return {width:width,scroll_width:root.scrollWidth,overlaps:overlaps,outside:outside,
  small:small,cut_tables:wide.length,plots:[...doc.querySelectorAll("svg[role=img]")]
  .filter(visible).length}}
addEventListener("load",()=>{document.getElementById("found").textContent=
 JSON.stringify([...document.querySelectorAll("iframe")].map(measured))})
</script>"""


def measured(page: str, widths: tuple[int, ...], folder: Path) -> tuple[list[Any], list[str]]:
    """Lay a page out at some widths (CSS px).

    Returns:
        What was measured at each width, and the lines of the browser's console.
    """
    frames = "".join(
        f'<iframe width="{width}" height="900" style="border:0" srcdoc="{escape(page)}"></iframe>'
        for width in widths
    )
    file = folder / "measuring.html"
    file.write_text(MEASURING % frames, encoding="utf-8")
    out, console = _run(folder, "--virtual-time-budget=5000", "--dump-dom", file.as_uri())
    found = re.search(r'<pre id="found">(.*?)</pre>', out, flags=re.DOTALL)
    assert found and found[1], f"nothing was measured: {out[-500:]}"
    return json.loads(unescape(found[1])), console


def console_of(page: str, folder: Path) -> list[str]:
    """Open a page by itself and return what the browser's console says."""
    file = folder / "alone.html"
    file.write_text(page, encoding="utf-8")
    return _run(folder, "--virtual-time-budget=2000", "--dump-dom", file.as_uri())[1]


def printed(page: str, folder: Path) -> bytes:
    """Print a page to PDF."""
    file, pdf = folder / "printed.html", folder / "printed.pdf"
    file.write_text(page, encoding="utf-8")
    _run(folder, f"--print-to-pdf={pdf}", "--no-pdf-header-footer", file.as_uri())
    return pdf.read_bytes()


def _run(folder: Path, *arguments: str) -> tuple[str, list[str]]:
    assert CHROMIUM is not None, "skip without a browser"
    profile = f"--user-data-dir={folder / 'profile'}"
    done = subprocess.run(
        [CHROMIUM, *OPTIONS, profile, *arguments],
        capture_output=True,
        text=True,
        timeout=100,
        check=True,
    )
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]
