/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The page's script: sorting, filter, zoom and slider. All else works without it. */
#include <stddef.h>

#include "report/report_parts.h"

const char *const report_script[] = {
    "(function(){'use strict';\n",
    "var d=document,all=function(s,e){return Array.prototype.slice.call((e||d).querySelectorAll(s));};\n",
    "d.documentElement.classList.add('js');\n",
    /* the outlines show from the left up to the slider */
    "all('.slider input').forEach(function(i){var f=i.closest('figure');\n",
    "var set=function(){f.style.setProperty('--cut',(100-i.value)+'%');};i.addEventListener('input',set);set();});\n",
    /* larger on a click or by the button */
    "all('figure[data-zoom]').forEach(function(f){var b=d.createElement('button'),r=f.querySelector('.frame');\n",
    "b.type='button';b.className='zoom';b.textContent='Enlarge';b.setAttribute('aria-pressed','false');\n",
    "var turn=function(e){var on=!f.classList.contains('large'),x=.5,y=.5,o=r.getBoundingClientRect();\n",
    "if(e&&e.currentTarget===r&&o.width){x=(e.clientX-o.left)/o.width;y=(e.clientY-o.top)/o.height;}\n",
    "f.classList.toggle('large',on);b.setAttribute('aria-pressed',String(on));\n",
    "b.textContent=on?'Fit to the page':'Enlarge';\n",
    "if(on){r.tabIndex=0;r.scrollLeft=x*r.scrollWidth-r.clientWidth/2;r.scrollTop=y*r.scrollHeight-r.clientHeight/2;}\n",
    "else{r.removeAttribute('tabindex');}};\n",
    "b.addEventListener('click',turn);r.addEventListener('click',turn);\n",
    "f.insertBefore(b,f.querySelector('figcaption'));});\n",
    /* sorting */
    "var t=d.getElementById('patches-table');\n",
    "if(t){var body=t.tBodies[0],rows=all('tr',body);\n",
    "rows.forEach(function(r,i){r.dataset.place=i;});\n",
    "var value=function(r,c){var e=r.cells[c],s=e.dataset.value!==undefined?e.dataset.value:e.textContent.trim();\n",
    "var n=s===''?NaN:Number(s);return {text:s,number:n};};\n",
    "all('thead th',t).forEach(function(h,c){var b=d.createElement('button');b.type='button';\n",
    "while(h.firstChild){b.appendChild(h.firstChild);}h.appendChild(b);\n",
    "b.addEventListener('click',function(){var up=h.getAttribute('aria-sort')!=='ascending';\n",
    "all('thead th',t).forEach(function(o){o.removeAttribute('aria-sort');});\n",
    "h.setAttribute('aria-sort',up?'ascending':'descending');\n",
    "var numbers=rows.every(function(r){var v=value(r,c);return v.text===''||!isNaN(v.number);});\n",
    "rows.slice().sort(function(a,b){var x=value(a,c),y=value(b,c),o;\n",
    "if((x.text==='')!==(y.text==='')){return x.text===''?1:-1;}\n",
    "o=numbers?x.number-y.number:x.text<y.text?-1:x.text>y.text?1:0;\n",
    "return (up?o:-o)||a.dataset.place-b.dataset.place;}).forEach(function(r){body.appendChild(r);});});});\n",
    /* filter */
    "var tools=d.querySelector('.tools'),field=d.getElementById('filter'),found=d.getElementById('found');\n",
    "tools.hidden=false;\n",
    "field.addEventListener('input',function(){var words=field.value.toLowerCase().split(/\\s+/),n=0;\n",
    "rows.forEach(function(r){var s=r.textContent.toLowerCase();\n",
    "r.hidden=!words.every(function(w){return s.indexOf(w)>=0;});n+=r.hidden?0:1;});\n",
    "found.textContent=field.value?n+' of '+rows.length+' patches':'';});}\n",
    /* folding */
    "var fold=d.getElementById('fold');\n",
    "if(fold){fold.hidden=false;all('button',fold).forEach(function(b){b.addEventListener('click',function(){\n",
    "all('details.patch').forEach(function(e){e.open=b.dataset.open==='1';});});});}\n",
    /* a link to a folded patch opens it */
    "var open=function(){var e=location.hash.length>1&&d.getElementById(location.hash.slice(1));\n",
    "if(e&&e.tagName==='DETAILS'){e.open=true;e.scrollIntoView();}};\n",
    "addEventListener('beforeprint',function(){all('#provenance details').forEach(function(e){e.open=true;});});\n",
    "addEventListener('hashchange',open);open();\n",
    "})();\n",
    NULL,
};
