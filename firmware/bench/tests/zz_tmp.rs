mod common;
use common::*;
use scalewright_bench::*;
use scalewright_protocol::message::*;
use scalewright_protocol::settings::Input;
fn run(read_by: ReadBy)->Vec<Sample>{
 let mut spec = BenchSpec::studio_factory(3); spec.read_by=read_by;
 let mut l=in_process(spec);
    l.ask(Ask::Stream { every: 1 });
    l.pass(3000);
    let mut settings = BenchSpec::studio_factory(3).settings;
    settings.input = Input::A64;
    l.ask(Ask::SetSettings(settings));
    l.pass(3000);
    settings.rate_sps = 80;
    l.ask(Ask::SetSettings(settings));
    l.pass(2000);
    settings.input = Input::A128;
    l.ask(Ask::SetSettings(settings));
    l.pass(2000);
 l.samples }
#[test] fn t(){ let a=run(ReadBy::Pins); let b=run(ReadBy::Codes);
 println!("{} {}",a.len(),b.len());
 let mut n=0; for (i,(x,y)) in a.iter().zip(&b).enumerate(){ if x!=y {println!("{i}\n{x:?}\n{y:?}"); n+=1; if n>4{break}} }
 panic!()}
