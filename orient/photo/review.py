"""The review page: the sheet laid flat, every mark numbered, to add, drop, renumber and export."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Sequence
from typing import Any

from orient.photo.flat import Flat
from orient.photo.reading import Mark


def review_page(setup: str, flats: Sequence[Flat], marks: Sequence[Mark], bar_mm: float) -> str:
    """One page that stands alone: pictures, marks, and what to do with them.

    Args:
        setup: the set-up's id, for the exported rows.
        flats: the pages laid flat, one a page.
        marks: all marks in order.
        bar_mm: the check bar as measured, by which the marks were scaled.
    """
    scale = bar_mm / 100.0
    pages = [_page(flat, scale) for flat in flats]
    state = {
        "setup": setup,
        "pages": pages,
        "marks": [
            {"page": m.page, "x": round(m.x_mm, 3), "y": round(m.y_mm, 3), "u": round(m.u_mm, 3),
             "c": round(m.confidence, 2)}
            for m in marks
        ],
    }  # fmt: skip
    data = json.dumps(state).replace("<", "\\u003c")
    return _HTML.replace("@SETUP@", html.escape(setup)).replace("@DATA@", data)


def _page(flat: Flat, scale: float) -> dict[str, Any]:
    import cv2

    shrink = min(1.0, 1800.0 / max(flat.rgb.shape[:2]))
    small = cv2.resize(flat.rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    return {
        "page": flat.page,
        "image": "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode("ascii"),
        "width": int(small.shape[1]),
        "height": int(small.shape[0]),
        "left": flat.corner_mm[0] * scale,
        "top": flat.corner_mm[1] * scale,
        "px": flat.px_mm * shrink / scale,
    }


_HTML = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="generator" content="orient photo review">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Marks of set-up @SETUP@</title>
<style>
:root{color-scheme:light dark}
body{font:16px/1.45 system-ui,sans-serif;margin:1rem;max-width:1200px}
svg{width:100%;height:auto;border:1px solid #888;background:#fff;touch-action:manipulation}
circle{fill:none;stroke:#0b5a8a;stroke-width:3;cursor:pointer}
g.doubt circle{stroke-dasharray:6 5}
g.chosen circle{stroke:#b3261e;stroke-width:5}
text{font:bold 26px system-ui,sans-serif;fill:#0b5a8a;paint-order:stroke;stroke:#fff;
stroke-width:6px}
g.chosen text{fill:#b3261e}
button{font:inherit;padding:.4rem .8rem;margin:.2rem}
textarea{width:100%;height:9rem;font:14px/1.3 monospace;box-sizing:border-box}
@media print{button{display:none}}
</style></head><body>
<h1>Marks of set-up @SETUP@</h1>
<p>Choose a mark by a click or with the Tab key. Click on bare paper to add one. A dashed circle
is a doubtful mark: look at it first. Millimetres from the foot.</p>
<p><button id="drop">Drop (Del)</button><button id="less">Number − (,)</button>
<button id="more">Number + (.)</button><button id="copy">Copy the rows</button>
<button id="file">Save as CSV</button> <span id="said" role="status"></span></p>
<div id="sheets"></div>
<h2>Rows for marks.csv</h2><textarea id="rows" readonly aria-label="Rows for marks.csv"></textarea>
<script>
const state=@DATA@;let chosen=-1;const NS="http://www.w3.org/2000/svg";
const el=(n,a)=>{const e=document.createElementNS(NS,n);for(const k in a)e.setAttribute(k,a[k]);
return e};
function rows(){return "setup,mark,x_mm,y_mm\\n"+state.marks.map((m,i)=>
[cell(state.setup),i+1,m.x.toFixed(2),m.y.toFixed(2)].join(",")).join("\\n")+"\\n"}
function cell(t){return /[",\\n;]/.test(t)?'"'+t.replace(/"/g,'""')+'"':t}
function draw(){const box=document.getElementById("sheets");box.replaceChildren();
for(const p of state.pages){const s=el("svg",{viewBox:`0 0 ${p.width} ${p.height}`,
"aria-label":"page "+p.page});s.append(el("image",{href:p.image,width:p.width,height:p.height}));
s.addEventListener("click",e=>{if(e.target.tagName!=="image")return;
const r=s.getBoundingClientRect();const q=p.width/r.width;
state.marks.push({page:p.page,x:p.left+(e.clientX-r.left)*q/p.px,
y:p.top-(e.clientY-r.top)*q/p.px,u:0.3,c:1});chosen=state.marks.length-1;draw()});
state.marks.forEach((m,i)=>{if(m.page!==p.page)return;
const x=(m.x-p.left)*p.px,y=(p.top-m.y)*p.px;
const g=el("g",{tabindex:0,role:"button","aria-label":`mark ${i+1}: x ${m.x.toFixed(1)}, y ${
m.y.toFixed(1)}`,class:(i===chosen?"chosen ":"")+(m.c<0.7?"doubt":"")});
g.append(el("circle",{cx:x,cy:y,r:22}));const t=el("text",{x:x+24,y:y-14});t.textContent=i+1;
g.append(t);g.addEventListener("click",()=>{chosen=i;draw()});
g.addEventListener("focus",()=>{if(chosen!==i){chosen=i;mark()}});s.append(g)});box.append(s)}
document.getElementById("rows").value=rows();mark()}
function mark(){document.querySelectorAll("svg g").forEach(g=>{
const n=Number(g.querySelector("text").textContent)-1;g.classList.toggle("chosen",n===chosen)});
const m=state.marks[chosen];document.getElementById("said").textContent=m?
`Mark ${chosen+1}: x ${m.x.toFixed(2)}, y ${m.y.toFixed(2)} mm, ± ${(1.96*m.u).toFixed(2)} mm`:""}
function move(by){const to=chosen+by;if(chosen<0||to<0||to>=state.marks.length)return;
const [m]=state.marks.splice(chosen,1);state.marks.splice(to,0,m);chosen=to;draw()}
function drop(){if(chosen<0)return;state.marks.splice(chosen,1);chosen=-1;draw()}
const on=(id,f)=>document.getElementById(id).addEventListener("click",f);
on("drop",drop);on("less",()=>move(-1));on("more",()=>move(1));
on("copy",()=>{const t=document.getElementById("rows");t.select();
if(navigator.clipboard)navigator.clipboard.writeText(rows());else document.execCommand("copy")});
on("file",()=>{const a=document.createElement("a");
a.href=URL.createObjectURL(new Blob([rows()],{type:"text/csv"}));a.download="marks-from-photo.csv";
a.click()});
addEventListener("keydown",e=>{if(e.target.tagName==="TEXTAREA")return;
if(e.key==="Delete"||e.key==="Backspace")drop();else if(e.key===",")move(-1);
else if(e.key===".")move(1)});
draw();
</script></body></html>
"""
