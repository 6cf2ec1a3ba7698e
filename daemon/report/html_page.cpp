#include "daemon/report/html_page.h"

namespace torpor::daemon {
namespace {

// Ink on paper, as a field notebook: one serif, hairlines, small capitals for what is printed on
// the form, nothing that glows. The contrast of every ink on the paper is above 4.5 to 1 (WCAG 2.1,
// 1.4.3): #5d5346 on #faf7ef has 7.0, #77420c has 7.2.
constexpr Literal kStyle = R"css(
:root{--paper:#faf7ef;--ink:#1f1a14;--faint:#5d5346;--rule:#d8cfbd;--line:#a3967f;--second:#77420c}
*{box-sizing:border-box}
html{background:var(--paper);color:var(--ink);-webkit-text-size-adjust:100%}
body{margin:0 auto;padding:1rem 1rem 3rem;max-width:62rem;line-height:1.42;
 font-family:"Iowan Old Style","Palatino Linotype",Palatino,"Book Antiqua","URW Palladio L",Georgia,serif;font-size:1rem}
a{color:inherit;text-underline-offset:.15em}
a:focus-visible,summary:focus-visible{outline:3px solid var(--second);outline-offset:2px}
h1,h2,h3,p,ul,ol,dl,dd,figure{margin:0;padding:0}
h1{font-size:2rem;font-weight:400;line-height:1.1;letter-spacing:.01em;overflow-wrap:anywhere}
h2{font-size:.95rem;font-weight:600;letter-spacing:.09em;text-transform:uppercase;border-bottom:1px solid var(--ink);padding-bottom:.15rem;margin:1.6rem 0 .5rem}
.kicker{font-size:.85rem;letter-spacing:.09em;text-transform:uppercase;color:var(--faint)}
.faint,footer{color:var(--faint)}
.withdrawn{text-decoration:line-through}
.sentence{font-size:1.3rem;line-height:1.32;font-style:italic;margin:.5rem 0 0;border-left:.28rem double var(--ink);padding-left:.75rem}
figure{margin-top:1.1rem}
figcaption{font-size:.86rem;color:var(--faint);margin-top:.35rem}
.life{display:block;overflow:visible;width:calc(100% - 2.2rem);margin-left:1.9rem;font-family:inherit;font-size:11.5px;fill:var(--ink)}
.life svg{overflow:hidden}.life .mark,.life .key{overflow:visible}
.life .frame{fill:none;stroke:var(--line);stroke-width:1}
.life .rule{stroke:var(--rule);stroke-width:1}
.life .tick{stroke:var(--rule);stroke-width:1}.life .fine{stroke:var(--line)}
.life .axis{stroke:var(--ink);stroke-width:1.2}
.life text{paint-order:stroke;stroke:var(--paper);stroke-width:3px;stroke-linejoin:round}
.life .lane{font-weight:600;letter-spacing:.03em}
.life .figure,.life .limit-figure{text-anchor:end;fill:var(--faint)}.life .limit-figure{fill:var(--second);font-style:italic;font-weight:600}
.life .date{text-anchor:middle}.life .start{text-anchor:start}.life .end{text-anchor:end}
.life .absent{text-anchor:middle;font-style:italic;fill:var(--faint)}
.life .limit{stroke:var(--second);stroke-width:1.3;stroke-dasharray:9 3 2 3}
.life .limit-words{text-anchor:end;fill:var(--second);font-style:italic}
.life .air{fill:var(--ink);stroke:var(--ink);stroke-width:1.1;stroke-linejoin:round}
.life path,.life .curve{vector-effect:non-scaling-stroke}
.life .curve{fill:none;stroke:var(--ink);stroke-linecap:round;stroke-linejoin:round}
.life .strong{stroke-width:2.2}.life .dashed{stroke-width:1.5;stroke-dasharray:5 4}
.life .range{fill:#b9ad96;fill-opacity:.55;stroke:none}
.life .range-edge{fill:none;stroke:var(--faint);stroke-width:.9;stroke-dasharray:1 3}
.life .hatch{stroke:var(--line);stroke-width:1.4}
.life .stay{fill:none;stroke:var(--ink);stroke-width:1}.life .speaker{fill:none;stroke:var(--line);stroke-width:1}
.life .thread{stroke:var(--faint);stroke-width:.8;stroke-dasharray:1 4}
.life .mark path,.life .mark rect,.life .mark circle{fill:var(--paper);stroke:var(--ink);stroke-width:1.4}
.life .alert{fill:var(--paper);stroke:var(--ink);stroke-width:1}.life .open{fill:var(--ink)}
.columns{margin-top:1.5rem}.columns>section{padding-bottom:1.6rem}.columns>section:last-child{padding:0}.columns h2{margin-top:0;break-after:avoid}.columns tr,.columns li,.slip{break-inside:avoid}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums lining-nums}
th,td{text-align:left;vertical-align:top;padding:.16rem .6rem .16rem 0;font-weight:400;overflow-wrap:anywhere}
thead th{font-size:.82rem;color:var(--faint);border-bottom:1px solid var(--line)}
tbody tr+tr>*{border-top:1px dotted var(--line)}
tbody th{white-space:nowrap;color:var(--faint)}
.number-cell{width:2.2rem;text-align:right;padding-right:.7rem}
.when{white-space:nowrap}
.notes{list-style:none}.notes li{padding-left:1.1rem;text-indent:-1.1rem}.notes li+li{margin-top:.2rem}
.notes li::before{content:"\2014\a0"}
.slip{border:3px double var(--ink);padding:.6rem .8rem;margin-bottom:1.6rem}
.slip p+p{margin-top:.1rem}.slip .name{font-size:1.3rem}
footer{margin-top:1.4rem;font-size:.86rem;border-top:1px solid var(--line);padding-top:.4rem}
@media (min-width:48rem){.sheet{border:1px solid var(--line);padding:1.6rem 2rem}.columns{columns:2;column-gap:2rem}}
@media print{@page{size:A4;margin:9mm 12mm}
 html{background:#fff}:root{--paper:#fff;--ink:#000;--faint:#333;--second:#000;--rule:#ccc;--line:#777}
 body{font-size:7.9pt;line-height:1.25;padding:0;max-width:none}.sheet{border:0;padding:0}
 .history{display:flex;flex-direction:column;height:278mm}
 h1{font-size:16pt}h2{font-size:7.6pt;margin:0 0 2pt}.sentence{font-size:10.5pt;margin-top:3pt}
 figure{margin-top:5pt}figure{zoom:.68}.columns{columns:2;column-gap:1.2rem;margin-top:5pt;flex:1;min-height:0;overflow:hidden}.columns>section{padding-bottom:6pt}
 th,td{padding:.5pt 4pt .5pt 0}.long{display:-webkit-box;-webkit-box-orient:vertical;-webkit-line-clamp:2;overflow:hidden}
 .slip{padding:3pt 6pt;margin-bottom:6pt}.slip .name{font-size:10pt}
 figcaption{font-size:9pt;margin-top:2pt}footer{font-size:7pt;margin-top:2pt}a{text-decoration:none}}
)css";

}  // namespace

Literal page_style() { return kStyle; }

std::string html_page(const std::string& title, const std::function<void(Markup&)>& head,
                      const std::function<void(Markup&)>& body) {
  Markup page;
  page.doctype();
  {
    const auto html = page.in("html", {{"lang", "en"}});
    {
      const auto element = page.in("head");
      page.lone("meta", {{"charset", "utf-8"}});
      page.lone("meta", {{"name", "viewport"}, {"content", "width=device-width,initial-scale=1"}});
      page.element("title", title);
      head(page);
    }
    const auto element = page.in("body");
    body(page);
  }
  return page.take();
}

}  // namespace torpor::daemon
