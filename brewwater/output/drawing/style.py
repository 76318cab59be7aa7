"""The layout of the answer's blocks, for the page and for paper: steps of 4, 8, 12, 16; a 2 px rule opens a section."""

from brewwater.output.drawing.ink import CSS

LAYOUT = """
.bw-answer{color:var(--bw-ink);font-size:1rem;line-height:1.4;font-variant-numeric:tabular-nums}
.bw-answer .bw-headline{text-wrap:balance;font-size:1.65rem;font-weight:700;line-height:1.2;margin:0 0 .5rem;
 padding:0;letter-spacing:-.01em}
.bw-answer .bw-h2{font-size:1.1rem;font-weight:700;margin:0;padding:0;line-height:1.3}
.bw-answer .bw-h3{font-size:1.05rem;font-weight:700;margin:0;padding:0;line-height:1.3}
.bw-answer p{margin:0;font-size:1rem}
.bw-answer svg{max-width:100%;overflow:visible;vertical-align:middle}
.bw-sr{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.bw-halt{display:flex;gap:.6rem;align-items:center;border:3px solid var(--bw-act);border-radius:6px;padding:.6rem .8rem;
 margin-bottom:.6rem;font-size:1.1rem}
.bw-facts{display:flex;border-top:2px solid var(--bw-ink);padding:.5rem 0 .25rem}
.bw-fact{flex:1 1 auto;padding:0 1rem;border-left:1px solid var(--bw-grid);min-width:0}
.bw-fact:first-child{padding-left:0;border:0}
.bw-answer .bw-label{font-size:.875rem;font-weight:650;color:var(--bw-second)}
.bw-answer .bw-note{font-size:.875rem;color:var(--bw-second)}
.bw-fig{font-size:1.625rem;font-weight:700;line-height:1.2}
.bw-guess{display:inline-block;border:1.5px dashed var(--bw-edge);border-radius:4px;padding:0 .35rem;font-size:.875rem;
 line-height:1.25;color:var(--bw-ink);white-space:nowrap}
.bw-sheet-mark{border-style:solid}
.bw-word{font-weight:650;border:0}
.bw-word.bw-ok{color:var(--bw-good);background:none}
.bw-word.bw-watch{color:var(--bw-watch-ink);background:var(--bw-watch);border-radius:3px;padding:0 .4rem}
.bw-word.bw-act,.bw-word.bw-stop{color:var(--bw-paper);background:var(--bw-act);border-radius:3px;padding:0 .4rem}
.bw-word.bw-unknown{color:var(--bw-unknown);background:none}
.bw-verdict{display:inline-flex;gap:.35rem;align-items:center;margin-left:.75rem}
.bw-arrow{color:var(--bw-second)}
.bw-split{display:flex;justify-content:space-between;align-items:baseline;gap:.5rem 1rem;flex-wrap:wrap}
.bw-rule{border-top:2px solid var(--bw-ink);padding:.35rem 0}
.bw-legend{display:flex;flex-wrap:wrap;gap:.1rem 1rem;font-size:.875rem;color:var(--bw-second)}
.bw-legend svg{margin-right:.15rem;vertical-align:-2px}
.bw-verdicts{display:grid;grid-template-columns:repeat(3,minmax(0,1fr));gap:0}
.bw-said{padding:0 1rem .25rem;border-left:1px solid var(--bw-grid);min-width:0;display:grid;align-content:start;
 grid-template-columns:auto minmax(0,1fr);column-gap:.25rem}
.bw-said>:not(.bw-h3,.bw-verdict){grid-column:1/-1}
.bw-said:first-child{padding-left:0;border:0}
.bw-said:last-child{padding-right:0}
.bw-aside{display:block}
.bw-rail{display:flex;justify-content:space-between;align-items:center;gap:.5rem}
.bw-railname{font-size:.875rem;color:var(--bw-second);line-height:1.2;min-width:4.5rem}
.bw-answer details{font-size:.875rem;margin-top:.25rem}
.bw-answer summary{cursor:pointer;color:var(--bw-ink);text-decoration:underline;text-underline-offset:3px;
 padding:.25rem 0}
.bw-answer ul.bw-plain{list-style:none;padding:0;margin:.25rem 0;font-size:.875rem}
.bw-answer ul.bw-plain li{font-size:.875rem;margin:.15rem 0}
.bw-answer dl{margin:.2rem 0 .6rem;display:block;padding:0}
.bw-answer dt{font-weight:650;margin-top:.25rem;color:var(--bw-second);font-size:.875rem}
.bw-answer dd{margin:0;font-size:.875rem;overflow-wrap:anywhere}
.bw-safe{display:flex;gap:.6rem;align-items:flex-start;border-top:1px solid var(--bw-grid);padding:.6rem 0}
.bw-safe>svg{flex:none;margin-top:.15rem}
.bw-buy{border-top:2px solid var(--bw-ink);padding-top:.5rem}
.bw-set{display:flex;gap:.75rem;align-items:center;border-top:1px solid var(--bw-grid);padding:.5rem 0}
.bw-set svg{flex:none}
.bw-test{border-top:1px solid var(--bw-grid);padding:.5rem 0}
.bw-drawn{border-top:1px solid var(--bw-grid);padding-top:.25rem}
.bw-care{display:flex;gap:.5rem;align-items:flex-start;border:1.5px solid var(--bw-ink);
 border-left:8px solid var(--bw-watch);padding:.35rem .6rem;margin:.35rem 0;font-size:.9375rem;line-height:1.35}
.bw-care svg{flex:none}
.bw-stages{display:grid;grid-template-columns:repeat(auto-fit,minmax(11rem,1fr));gap:.75rem 0}
.bw-stage{padding:0 .9rem;border-left:1px solid var(--bw-grid);min-width:0}
.bw-stage:first-child{padding-left:0;border:0}
.bw-answer .bw-stage .bw-h3{display:flex;gap:.5rem;align-items:center;margin-bottom:.3rem}
.bw-answer ol.bw-coming{list-style:none;margin:.25rem 0 0;padding:0;border-top:2px solid var(--bw-ink)}
.bw-answer ol.bw-coming li{display:flex;gap:.75rem;align-items:center;padding:.45rem 0;
 border-bottom:1px solid var(--bw-grid);margin:0;font-size:1rem}
.bw-coming svg{flex:none}
.bw-when{min-width:7.2rem}
.bw-twice{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:1rem 2.25rem;margin-top:.75rem}
.bw-phone{display:none!important}
"""
PHONE = """
.bw-answer .bw-headline{font-size:1.35rem;margin-bottom:.35rem}
.bw-desk{display:none!important}
.bw-phone{display:block!important}
span.bw-phone{display:inline!important}
.bw-facts{display:grid;grid-template-columns:minmax(0,1.45fr) minmax(0,1fr);border:0;padding:0;gap:0 .5rem}
.bw-fact{padding:0;border:0}
.bw-fig{font-size:1.85rem}
.bw-fact-order,.bw-fact-start,.bw-fact-safe{display:none}
.bw-verdicts{display:block}
.bw-said,.bw-said:first-child{padding:.3rem 0;border:0;border-top:1px solid var(--bw-grid)}
.bw-said .bw-verdict{margin-left:.4rem}
.bw-said .bw-sentence{font-size:.95rem;padding-right:10.4rem;line-height:1.3;min-height:2.6rem}
.bw-said .bw-rails{justify-self:end;margin-top:-4.35rem;width:10rem}
.bw-said .bw-rail{display:block;text-align:center}
.bw-said .bw-rail+.bw-rail{display:none}
.bw-said .bw-aside{display:inline}
.bw-answer details{margin-top:0}
.bw-answer summary{padding:.05rem 0;font-size:.875rem;line-height:1.3}
.bw-safe{padding:.3rem 0}
.bw-legend{gap:0 .6rem}
.bw-said,.bw-said:first-child{padding:.2rem 0}
.bw-stages{display:block}
.bw-stage,.bw-stage:first-child{padding:.6rem 0;border:0;border-top:1px solid var(--bw-grid)}
.bw-twice{display:block}
.bw-when{min-width:6.4rem}
"""
STYLE = CSS + LAYOUT + f"@media screen and (max-width:700px){{{PHONE}}}"
