//! The command line's entry: parse, call the composition, print, exit.

mod cli;

use std::io::{IsTerminal, Write};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use clap::Parser;
use cli::{Cli, Command, DialArgs, ScriptArgs};
use stillpath::diag::Printed;
use stillpath::session::{self, Failure, Reply};

/// Wrong usage (sysexits' EX_USAGE).
const USAGE: u8 = 64;

fn main() -> ExitCode {
    // Before there is any thread.
    stillpath::ffi::ffmpeg::quieten();
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let wanted = !error.use_stderr();
            if !wanted {
                // It repeats what was typed.
                say_aside(&Printed::lines(&error.render().to_string()));
                return ExitCode::from(USAGE);
            }
            // Nothing can be done where the terminal itself has gone.
            let _gone = error.print();
            return ExitCode::SUCCESS;
        }
    };
    let mut watch = session::Watch::default();
    if let Command::Render { wait: Some(seconds), .. } = &cli.command {
        watch.patience = Duration::from_secs(u64::from(*seconds));
    }
    let watch = Arc::new(watch);
    let interrupted = Arc::clone(&watch);
    if let Err(error) = ctrlc::set_handler(move || interrupted.stop.store(true, Ordering::Relaxed)) {
        say_aside(&Printed::lines(&format!("stillpath: Ctrl-C will not stop cleanly: {error}\n")));
    }
    // Its lines end as RFC 4180 ends them.
    let is_table = matches!(&cli.command, Command::Plan { csv: true, .. });
    let outcome = act(cli.command, &watch);
    #[expect(clippy::disallowed_methods, reason = "nothing is printed")]
    let colour = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let (reply, code) = match outcome {
        Ok(reply) => (reply, 0),
        Err(Failure { reply, code }) => (reply, code),
    };
    say_aside(&reply.notes_as_text(colour));
    say(&if is_table { Printed::table(&reply.text) } else { Printed::lines(&reply.text) });
    ExitCode::from(code)
}

/// Prints an answer.
#[expect(clippy::disallowed_methods, reason = "the one place that prints answers, and nothing but what is fit")]
fn say(text: &Printed) {
    write(&mut std::io::stdout(), text);
}

/// Prints what is beside the answer.
#[expect(
    clippy::disallowed_methods,
    reason = "the one place that prints mistakes and remarks, and nothing but what is fit"
)]
fn say_aside(text: &Printed) {
    write(&mut std::io::stderr(), text);
}

/// Writes, and is content where the reader has gone.
fn write(to: &mut impl Write, text: &Printed) {
    let _reader_gone = to.write_all(text.as_bytes()).and_then(|()| to.flush());
}

fn act(command: Command, watch: &session::Watch) -> Result<Reply, Failure> {
    match command {
        Command::Check { script, json } => session::check(&script.into(), json, watch),
        Command::Plan { script, json, csv } => {
            let form = match (json, csv) {
                (true, _) => session::PlanForm::Json,
                (_, true) => session::PlanForm::Csv,
                _ => session::PlanForm::Text,
            };
            session::plan(&script.into(), form, watch)
        }
        Command::Explain { script, frame, at, json } => {
            session::explain(&script.into(), &wanted(frame, at), json, watch)
        }
        Command::Level { script, output, force } => {
            session::level(&script.into(), &session::TableOptions { output, force }, watch)
        }
        Command::Steady { script, output, force } => {
            session::steady(&script.into(), &session::TableOptions { output, force }, watch)
        }
        Command::Diff { before, after, output, force, json } => {
            session::diff(&before.into(), &session::DiffOptions { after, output, force, json }, watch)
        }
        Command::Draw { script, output, shot, at, strip, frames, force } => {
            let frames = frames.map(usize::from);
            session::draw(&script.into(), &session::DrawOptions { output, shot, at, strip, frames, force }, watch)
        }
        Command::Dials { script: DialArgs { script, settings }, json } => session::dials(&script, &settings, json),
        Command::Survey { stills, look, picture, force, quiet, json, ignore_orientation, pairs, camera } => {
            let obey_orientation = !ignore_orientation;
            session::survey(
                &session::SurveyOptions { stills, obey_orientation, pairs, camera, look, picture, force, quiet, json },
                watch,
            )
        }
        Command::List { folder, hash, output, force, quiet, json } => {
            session::list(&session::ListOptions { folder, hash, output, force, json, quiet }, watch)
        }
        Command::Flash { clip, out, settings, deliveries, fps, white, output, force, quiet, json } => {
            let options =
                session::FlashOptions { clip, out, settings, deliveries, fps, white, output, force, quiet, json };
            session::flash(&options, watch)
        }
        Command::Frame { script, frame, at, output, force, json } => {
            let wanted = wanted(frame, at);
            session::frame(&script.into(), &session::FrameOptions { wanted, output, force, json }, watch)
        }
        Command::Render {
            script,
            out,
            threads,
            force,
            fresh,
            draft,
            keep,
            no_strip,
            no_receipt,
            quiet,
            json,
            share,
            growing,
            wait: _,
        } => {
            let threads = threads.map(usize::from);
            let keep =
                keep.map_or_else(|| if draft { cli::keep_by_environment() } else { Ok(0) }, Ok).map_err(wrong_usage)?;
            let draft = draft.then_some(session::DraftOptions { keep });
            let (strip, receipt) = (!no_strip && !quiet, !no_receipt);
            let extent = share.map_or(session::Extent::Whole, session::Extent::Share);
            let options = session::RenderOptions {
                out,
                threads,
                force,
                fresh,
                draft,
                strip,
                receipt,
                quiet,
                json,
                growing,
                extent,
            };
            session::render(&script.into(), &options, watch)
        }
        Command::Join { script, out, threads, force, no_strip, no_receipt, quiet, json } => {
            let (threads, strip, receipt) = (threads.map(usize::from), !no_strip && !quiet, !no_receipt);
            let (extent, fresh, draft, growing) = (session::Extent::Joined, false, None, false);
            let options = session::RenderOptions {
                out,
                threads,
                force,
                fresh,
                draft,
                strip,
                receipt,
                quiet,
                json,
                growing,
                extent,
            };
            session::render(&script.into(), &options, watch)
        }
        Command::Prove { receipt, frames, seed, copies, lists, force, threads, quiet, json } => {
            let threads = threads.map(usize::from);
            let options = session::ProveOptions { receipt, frames, seed, copies, lists, force, threads, quiet, json };
            session::prove(&options, watch)
        }
        Command::Tend { script, out, every, threads, quiet } => {
            let announce = |reply: Reply| {
                say_aside(&reply.notes_as_text(false));
                say(&Printed::lines(&reply.text));
            };
            let options = session::TendOptions { out, every, threads: threads.map(usize::from), quiet };
            session::tend(&script.into(), &options, watch, announce)
        }
        Command::Look { script, share, quiet, json } => {
            session::look(&script.into(), session::LookOptions { share, quiet, json }, watch)
        }
        Command::Hand { script, output, clips, force } => {
            session::hand(&script.into(), &session::HandOptions { output, clips, force }, watch)
        }
        Command::Reckon { folder, known, sheet, force, json } => {
            session::reckon(&session::ReckonOptions { folder, typed: (*known).into(), sheet, force, json })
        }
        Command::Live { script, port, open } => {
            let announce = |line: &str| say(&Printed::lines(line));
            session::live(&script.into(), &session::LiveOptions { port, open }, watch, announce)
        }
        Command::New { folder, output, force, moves, quiet } => {
            session::new(&session::NewOptions { folder, output, force, moves, quiet }, watch)
        }
        Command::Cache { clear, json } => session::cache(session::CacheOptions { clear, json }),
        Command::Purposes { copy, json } => session::purposes(session::PurposesOptions { copy, json }),
        Command::Demo { dir, stills, size, seed, force } => {
            session::demo(&session::DemoOptions { dir, stills, size, seed, force }, watch)
        }
        Command::Types { reference, plan_schema, receipt_schema } => {
            Ok(session::types(match (reference, plan_schema, receipt_schema) {
                (true, _, _) => session::Published::Reference,
                (_, true, _) => session::Published::PlanSchema,
                (_, _, true) => session::Published::ReceiptSchema,
                _ => session::Published::Types,
            }))
        }
        Command::Moves { name, output, force, json } => match (name, output) {
            (Some(name), Some(output)) => session::draw_move(&name, &output, force),
            (name, _) => session::moves(name.as_deref(), json),
        },
    }
}

/// Which frame is meant: one of the two is given.
fn wanted(frame: Option<u64>, at: Option<String>) -> session::FrameWanted {
    at.map_or_else(|| session::FrameWanted::Number(frame.unwrap_or(0)), session::FrameWanted::Moment)
}

fn wrong_usage(why: String) -> Failure {
    Failure { reply: Reply { closing: Some(format!("stillpath: {why}")), ..Reply::default() }, code: USAGE }
}

impl From<cli::KnownArgs> for stillpath::reckon::Typed {
    fn from(known: cli::KnownArgs) -> Self {
        Self {
            event: known.event,
            interval: known.interval,
            pause: known.pause,
            exposure: known.exposure,
            angle: known.angle,
            writing: known.writing,
            clip: known.clip,
            fps: known.fps,
            frames_per_still: known.frames_per_still,
            stills: known.stills,
            size: known.size,
            format: known.format,
            still_takes: known.still_takes,
            card: known.card,
            battery: known.battery,
            number: known.number,
            folder_holds: known.folder_holds,
            frames: known.frames,
            across: known.across,
            speed: known.speed,
            mains: known.mains,
        }
    }
}

impl From<ScriptArgs> for session::ScriptOptions {
    fn from(args: ScriptArgs) -> Self {
        let DialArgs { script, settings } = args.dials;
        Self { script, settings, sources: args.sources, deliveries: args.deliveries }
    }
}
