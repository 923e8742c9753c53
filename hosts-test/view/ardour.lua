-- SPDX-License-Identifier: ISC
-- Makes the session that ardour.sh opens: a track for each of the plugins that URIS lists, which hears the input.
-- Prints "track's number, plugin's number, URI" for each.
local ON = 1 -- monitoring: the input, whatever the transport does
local backend = AudioEngine:set_backend("None (Dummy)", "", "")
backend:set_sample_rate(48000)
assert(AudioEngine:start(false), "the engine does not start")
local session = create_session(os.getenv("FOLDER"), "siskin", 48000)
assert(session, "no session")
for uri in os.getenv("URIS"):gmatch("%S+") do
    local channels = uri:match("#mono$") and 1 or 2
    local name = uri:gsub("^urn:siskin:", ""):gsub("#", " ")
    local track = session:new_audio_track(channels, channels, nil, 1, name, ARDOUR.PresentationInfo.max_order,
                                          ARDOUR.TrackMode.Normal, true):front()
    track:monitoring_control():set_value(ON, PBD.GroupControlDisposition.NoGroup)
    local plugin = ARDOUR.LuaAPI.new_plugin(session, uri, ARDOUR.PluginType.LV2, "")
    assert(not plugin:isnil(), "Ardour does not know " .. uri)
    assert(track:add_processor_by_index(plugin, 0, nil, true) == 0, "Ardour does not take " .. uri)
    print("made", track:to_stateful():id():to_s(), plugin:to_stateful():id():to_s(), uri)
end
session:save_state("")
close_session()
quit()
