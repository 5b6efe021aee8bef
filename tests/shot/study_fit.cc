// throwaway probe
#include <ctime>
#include <cstdio>
#include <string>
#include "jobs/shot/shot_fit.h"
#include "features/small_frames.h"
#include "base/parallel.h"
#include "imaging/orient.h"
using namespace seamwright;
int main(int argc,char**argv){
  const ThreadLimit limit(1);
  auto body=read_template(argv[1]);
  if(!body){puts(body.error().line().c_str());return 1;}
  std::string mode=argv[2];
  FitOptions o; if(const char*s=getenv("SMALL")) o.small_px=atoi(s);
  for(int i=3;i+1<argc;i+=2){
    FrameIntake in;
    auto fr=read_shot({argv[i],argv[i+1]},in);
    if(!fr){puts(fr.error().line().c_str());continue;}
    RigTemplate b=*body;
    if(mode=="swap") std::swap((*fr)[0],(*fr)[1]);
    if(mode=="other"){ int j=i+6; if(j+1>=argc) j=3+(j-argc)%(argc-3); j-= (j-3)%2; auto o2=read_shot({argv[j],argv[j+1]},in); (*fr)[1]=(*o2)[1]; }
    if(mode=="same"){ int j=i+2; if(j+1>=argc) j=3; auto o2=read_shot({argv[j],argv[j+1]},in); (*fr)[1]=(*o2)[1]; }
    if(mode=="mirror") for(auto&f:*fr) f.image=mirror_left_right(f.image);
    if(mode.substr(0,4)=="turn"){ (*fr)[0].image=rotate_quarter_turns((*fr)[0].image,mode[4]-'0'); (*fr)[1].image=rotate_quarter_turns((*fr)[1].image,mode[5]-'0');}
    if(mode.substr(0,5)=="knock"){ double deg=atof(mode.c_str()+5); Vec3 ax=Vec3(0.5,0.7,-0.4).normalized(); Quat&m=b.solution.rig.lenses[1].rig_from_lens; m=quat_from_rotation_vector(rad_from_deg(deg)*ax)*m; }
    auto t0=clock();
    auto fit=fit_shot(b,*fr,o);
    double s=double(clock()-t0)/CLOCKS_PER_SEC;
    if(!fit){puts(fit.error().line().c_str());continue;}
    std::string n=argv[i]; n=n.substr(n.rfind('/')+1);
    printf("%-22s %-8s %-11s match %4d agreed %4d ties %4d p95 %6.2f sig %5.2f exp %5.2f left %5.2f used %.2f unseen %.2f knock %.3f keys %d  %.2fs  %s\n",n.c_str(),std::string(name_of(fit->verdict)).c_str(),std::string(name_of(fit->cause)).c_str(),fit->matched,fit->agreed,fit->ties,fit->p95_px,fit->sigma_px,fit->expected_px,fit->left_px,fit->used_share,fit->unseen_share,fit->knock_deg,fit->keys,s,fit->words.c_str());
    fflush(stdout);
  }
}
